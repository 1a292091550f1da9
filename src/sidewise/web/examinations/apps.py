"""Examinations as ledgers, and every page of them."""

from __future__ import annotations

from sidewise.web import parts


class Examinations(parts.Part):
    """Examinations as ledgers, and every page of them."""

    name = "sidewise.web.examinations"
    label = "examinations"
    roles = frozenset({"clinician"})

    def ready(self) -> None:
        """What a person usually does is put into the session at sign-in."""
        from django.contrib.auth.signals import user_logged_in

        from sidewise.web.examinations.usual import at_sign_in

        user_logged_in.connect(at_sign_in, dispatch_uid="usual")
