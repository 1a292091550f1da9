"""The keeping app: guards are put in place after each migration."""

from __future__ import annotations

from django.apps import AppConfig
from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate


class Keeping(AppConfig):
    """Backup, restore, export, erasure, holds and the guards of what is append-only."""

    name = "sidewise.web.keeping"
    label = "keeping"

    def ready(self) -> None:
        """Connect the guards."""
        from sidewise.web.keeping import guard

        connection_created.connect(guard.know_function, dispatch_uid="keeping guard")
        post_migrate.connect(guard.put_in_place, sender=self, dispatch_uid="keeping guard")
