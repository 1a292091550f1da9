"""Django's own commands: `python -m sidewise.web.manage COMMAND`."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Hand the command line to Django."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
    from django.core.management import execute_from_command_line

    if sys.argv[1:2] == ["migrate"] and not {"--plan", "--check", "--help"} & set(sys.argv):
        _migrate()
    execute_from_command_line(sys.argv)


def _migrate() -> None:
    # What the service starts with: everything is verified before and bound after.
    from sidewise.errors import UserError
    from sidewise.web.keeping.shell import store

    try:
        with store("migrate"):
            pass
    except UserError as error:
        sys.exit(error.message)


if __name__ == "__main__":
    main()
