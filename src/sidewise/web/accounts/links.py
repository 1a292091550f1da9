"""One-time links: random, short-lived, kept only as a hash, used once."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.urls import reverse
from django.utils import timezone

from sidewise.web.accounts.models import OneTimeLink, User
from sidewise.web.accounts.sealing import digest

LIVES = {
    OneTimeLink.Purpose.PASSWORD: timedelta(hours=24),
    OneTimeLink.Purpose.ENTER: timedelta(minutes=15),
}


@dataclass(frozen=True, slots=True)
class FreshLink:
    """Shown or opened once; the token is not kept anywhere."""

    path: str
    expires_at: datetime


def make(user: User, purpose: OneTimeLink.Purpose) -> FreshLink:
    """A new link; earlier unused links of the same person stop working."""
    OneTimeLink.objects.filter(user=user, used_at=None).delete()
    token = secrets.token_urlsafe(32)
    expires = timezone.now() + LIVES[purpose]
    OneTimeLink.objects.create(user=user, digest=digest(token), purpose=purpose, expires_at=expires)
    return FreshLink(reverse("welcome", args=[token]), expires)


def look_up(token: str) -> OneTimeLink | None:
    """The link, if it may still be used."""
    return (
        OneTimeLink.objects.select_related("user")
        .filter(digest=digest(token), used_at=None, expires_at__gt=timezone.now())
        .filter(user__is_active=True)
        .first()
    )


def use(link: OneTimeLink) -> bool:
    """Use it up; False when somebody else was quicker."""
    return OneTimeLink.objects.filter(pk=link.pk, used_at=None).update(used_at=timezone.now()) == 1
