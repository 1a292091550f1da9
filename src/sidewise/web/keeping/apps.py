"""The keeping app: guards are put in place after each migration."""

from __future__ import annotations

from django.db.backends.signals import connection_created
from django.db.models.signals import post_migrate

from sidewise.ground.language import mark_text
from sidewise.web import parts
from sidewise.web.keeping import guard


class Keeping(parts.Part):
    """Backup, restore, export, erasure, holds and the guards of what is append-only."""

    name = "sidewise.web.keeping"
    label = "keeping"
    roles = None
    doors = (
        parts.Door(
            "audit", mark_text("Audit"), frozenset({"administrator"}), "Audit trail",
            "Who read or wrote what, and whether the chain of it is whole.",
        ),
        parts.Door(
            "keeping", mark_text("Keeping"), frozenset({"administrator"}), "Retention and erasure",
            "Legal holds, and erasing what is past its time.",
        ),
    )  # fmt: skip

    def ready(self) -> None:
        """Connect the guards."""
        connection_created.connect(guard.know_function, dispatch_uid="keeping guard")
        post_migrate.connect(guard.put_in_place, sender=self, dispatch_uid="keeping guard")
