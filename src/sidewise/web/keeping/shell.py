"""Makes the web project's database usable from the command line."""

from __future__ import annotations

import os


def ready() -> None:
    """Set Django up, and bring the database up to date; in a new folder it is made."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "sidewise.web.settings")
    import django
    from django.core.management import call_command

    django.setup()
    call_command("migrate", verbosity=0, interactive=False)
