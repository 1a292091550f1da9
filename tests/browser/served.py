"""The web app in a process of its own, as on a laptop: a real file, WAL, several threads.

The weighing is replaced by a small invented interpretation (its own tests are elsewhere) unless
REAL_WEIGHING is set. Prints its address on the first line.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Any

from sidewise.web import demo
from sidewise.web.serving import listening

PEOPLE = ("owner", "colleague", "reader")
OTHERS = {"teacher": "teacher", "student": "student", "administrator": "administrator"}


def main() -> None:
    """Set up the people and serve until the pipe of the test is closed."""
    demo.prepare()
    from sidewise.web.accounts.models import Role, User
    from tests.web.cast import PASSWORD, hand_made

    extra = [f"examiner{number}" for number in range(int(os.environ.get("EXAMINERS", "0")))]
    for name in [*PEOPLE, *extra]:
        User.objects.create_user(name, password=PASSWORD, role=Role.CLINICIAN, code=name.upper())
    for name, role in OTHERS.items():
        User.objects.create_user(name, password=PASSWORD, role=role, code=name.upper())
    if not os.environ.get("REAL_WEIGHING"):
        from sidewise.web.examinations import state
        from sidewise.web.examinations.views import reading

        state.weigh = reading.weigh = hand_made
    from sidewise.reason.weighing.warm_up import wish_for_compiled

    wish_for_compiled()
    if examples := os.environ.get("WITH_EXAMPLES"):
        demo.load_clinic(Path(examples), User.objects.get(username="owner"))
        demo.load_marks(Path(examples), User.objects.get(username="teacher"))
    if os.environ.get("WITH_CLASS"):
        load_class_with_passwords(User)
    from django.core.wsgi import get_wsgi_application

    if workers := int(os.environ.get("WORKERS", "0")):
        serve_with_workers(get_wsgi_application(), workers)
    server = listening(get_wsgi_application(), 8950)
    print(f"http://127.0.0.1:{server.server_address[1]}", flush=True)
    if os.environ.get("REAL_WEIGHING"):
        from sidewise.reason.weighing.warm_up import ready_soon
        from sidewise.regions import every_region

        ready_soon(every_region)
    server.serve_forever()


def load_class_with_passwords(users: Any) -> None:
    """The invented class of five; its students can sign in."""
    from sidewise.web.demo_class import load_class
    from tests.web.cast import PASSWORD

    load_class(users.objects.get(username="teacher"))
    for student in users.objects.filter(username__startswith="student-"):
        student.set_password(PASSWORD)
        student.save()


def serve_with_workers(application: Any, workers: int) -> None:
    """Several processes, as a department runs it."""
    from gunicorn.app.base import BaseApplication

    from sidewise.reason.weighing.warm_up import ready_soon
    from sidewise.regions import every_region

    class Department(BaseApplication):
        def load_config(self) -> None:
            """Loopback only; threads inside each worker."""
            for name, value in {"bind": "127.0.0.1:8990", "workers": workers, "threads": 8,
                                "worker_class": "gthread", "loglevel": "error",
                                "keepalive": 75}.items():  # fmt: skip
                self.cfg.set(name, value)
            self.cfg.set("post_worker_init", lambda _worker: ready_soon(every_region))

        def load(self) -> Any:
            """The application, made before the processes part."""
            return application

    from django.db import connections

    # A connection must not be shared between processes.
    connections.close_all()
    print("http://127.0.0.1:8990", flush=True)
    sys.argv = sys.argv[:1]
    Department().run()


if __name__ == "__main__":
    sys.exit(main())
