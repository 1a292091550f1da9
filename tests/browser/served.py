"""The web app in a process of its own, as on a laptop: a real file, WAL, several threads.

The weighing is replaced by a small invented interpretation (its own tests are elsewhere) unless
REAL_WEIGHING is set. Prints its address on the first line.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

from sidewise.web import demo

PEOPLE = ("owner", "colleague", "reader")


def main() -> None:
    """Set up the people and serve until the pipe of the test is closed."""
    demo.prepare()
    from sidewise.web.accounts.models import Role, User
    from tests.web.cast import PASSWORD, hand_made

    for name in PEOPLE:
        User.objects.create_user(name, password=PASSWORD, role=Role.CLINICIAN, code=name.upper())
    if not os.environ.get("REAL_WEIGHING"):
        from sidewise.web.examinations import state
        from sidewise.web.examinations.views import reading

        state.weigh = reading.weigh = hand_made
    if examples := os.environ.get("WITH_EXAMPLES"):
        demo.load_clinic(Path(examples), User.objects.get(username="owner"))
    from django.core.wsgi import get_wsgi_application

    server = demo.listening(get_wsgi_application(), 8950)
    print(f"http://127.0.0.1:{server.server_address[1]}", flush=True)
    server.serve_forever()


if __name__ == "__main__":
    sys.exit(main())
