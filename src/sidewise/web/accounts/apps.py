"""The accounts app: its receivers are connected when it is ready."""

from __future__ import annotations

from django.apps import AppConfig


class Accounts(AppConfig):
    """Accounts, sessions and sign-in."""

    name = "sidewise.web.accounts"
    label = "accounts"

    def ready(self) -> None:
        """Connect the receivers that keep the list of sessions."""
        from sidewise.web.accounts import sessions  # noqa: F401
