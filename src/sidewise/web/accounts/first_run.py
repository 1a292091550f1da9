"""The first account: no default password ever exists; a one-time link is printed instead."""

from __future__ import annotations

from django.conf import settings

from sidewise.errors import UserError
from sidewise.web.accounts import links
from sidewise.web.accounts.models import OneTimeLink, Role, User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write

OWNER = "owner"
LOOPBACK = {"127.0.0.1", "localhost", "[::1]", "testserver"}


def administrators() -> list[User]:
    """Everyone who can sign in and administer."""
    return [user for user in User.objects.filter(is_active=True) if user.administers]


def ensure_owner() -> links.FreshLink | None:
    """A link to choose the owner's password while nobody can administer yet; None afterwards.

    Run again before the link was used it makes a new one and voids the old.
    """
    with gathered():
        if any(user.has_usable_password() for user in administrators()):
            return None
        owner, _ = User.objects.get_or_create(
            username=OWNER,
            defaults={
                "role": Role.CLINICIAN,
                "also": [Role.TEACHER, Role.ADMINISTRATOR],
                "code": OWNER,
                "password": "!",
            },
        )
        write(Act.LINK, f"account:{owner.pk}", who="first run")
        return links.make(owner, OneTimeLink.Purpose.PASSWORD)


def one_time_entry(user: User) -> links.FreshLink:
    """A link that signs in without a password, once: for a demonstration on one's own machine."""
    strangers = set(settings.ALLOWED_HOSTS) - LOOPBACK
    if strangers or settings.TLS:
        raise UserError(
            "one-time entry", f"hosts {sorted(strangers)}", "a server on this machine only",
            "Sign in with a password instead.",
        )  # fmt: skip
    write(Act.LINK, f"account:{user.pk}", who="this machine")
    return links.make(user, OneTimeLink.Purpose.ENTER)
