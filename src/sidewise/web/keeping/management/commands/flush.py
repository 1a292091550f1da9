"""Django's `flush` empties every table: here only a test database may be emptied."""

from __future__ import annotations

from typing import Any

from django.core.management.base import CommandError
from django.core.management.commands.flush import Command as Flush
from django.db import connections

from sidewise.web.keeping.guard import erasing


class Command(Flush):
    """As Django's, refused outside tests."""

    def handle(self, **options: Any) -> None:
        """Refuse unless the database was made by a test run."""
        name = str(connections[options["database"]].settings_dict["NAME"])
        if "test_" not in name and "memorydb" not in name:
            raise CommandError("flush would erase records; it works on test databases only.")
        with erasing("everything"):
            super().handle(**options)
