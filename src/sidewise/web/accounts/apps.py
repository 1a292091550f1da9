"""The accounts app: its receivers are connected when it is ready."""

from __future__ import annotations

from sidewise.ground.language import mark_text
from sidewise.web import parts


class Accounts(parts.Part):
    """Accounts, sessions and sign-in."""

    name = "sidewise.web.accounts"
    label = "accounts"
    roles = None
    doors = (
        parts.Door(
            "people", mark_text("People"), frozenset({"administrator"}), "People",
            "Accounts, roles, second factors and one-time links.",
        ),
    )  # fmt: skip

    def ready(self) -> None:
        """Connect the receivers that keep the list of sessions."""
        from sidewise.web.accounts import sessions  # noqa: F401
