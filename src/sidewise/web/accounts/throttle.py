"""Brute force is slowed down without giving anyone a way to lock somebody else out.

Failures are counted in buckets. A browser that has signed in to this account before carries a
random device token and is counted on its own: whatever others do, from anywhere, it can sign in.
Everyone else is counted by account *and* address, and by address alone. No bucket belongs to an
account as such, so no amount of wrong guesses closes an account. (The idea is the device cookie
described by OWASP under "slow down online guessing attacks with device cookies".)
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import Max
from django.utils import timezone

from sidewise.web.accounts.models import Failure, KnownDevice, User
from sidewise.web.accounts.sealing import digest

WINDOW = timedelta(minutes=15)
FREE_TRIES = 5  # per device, and per account and address
FREE_TRIES_ADDRESS = 60  # a whole clinic may stand behind one address
FIRST_WAIT_S = 30
LONGEST_WAIT_S = 15 * 60
KEPT = timedelta(days=1)
CLOCKS_DIFFER = timedelta(seconds=30)
"""Between two machines of one service."""


@dataclass(frozen=True, slots=True)
class Bucket:
    """What is counted together, and how many failures are free."""

    name: str
    free: int


@dataclass(frozen=True, slots=True)
class Taken:
    """Whether a try may be made: seconds to wait, or the rows that count it."""

    wait_s: int
    rows: tuple[int, ...] = ()


def buckets(username: str, address: str, device: str | None) -> list[Bucket]:
    """The buckets of one try; a device known to this account has one of its own only."""
    if device and _known(username, device):
        return [Bucket(_name("device", username, device), FREE_TRIES)]
    return [
        Bucket(_name("account", username.casefold(), address), FREE_TRIES),
        Bucket(_name("address", address), FREE_TRIES_ADDRESS),
    ]


def code_buckets(user: User, device: str | None) -> list[Bucket]:
    """Codes are tried only after the right password: strangers share one count an account.

    Six digits are few, so many addresses must not mean many tries. Whoever has stolen a password
    can thereby keep *new* browsers waiting; a browser known to the account still counts alone.
    """
    if device and _known(user.username, device):
        return [Bucket(_name("code", user.username, device), FREE_TRIES)]
    return [Bucket(_name("code", user.username), FREE_TRIES)]


def wait_s(counted: list[Bucket], now: datetime | None = None) -> int:
    """Seconds until the next try is listened to; 0 when it is now.

    After the free tries of a window each failure doubles the wait: 30 s, 60 s ... 15 min.
    """
    now = now or timezone.now()
    return max(_wait_of(bucket, now) for bucket in counted)


def count_failure(counted: list[Bucket], now: datetime | None = None) -> None:
    """Add one failure to each bucket; old ones go."""
    now = now or timezone.now()
    Failure.objects.filter(at__lt=now - KEPT).delete()
    Failure.objects.bulk_create(Failure(bucket=bucket.name, at=now) for bucket in counted)


def take(counted: list[Bucket], now: datetime | None = None) -> Taken:
    """One try, counted before it is made: of many at once no more are listened to than are free.

    A try that succeeds is given back (`forget`).
    """
    now = now or timezone.now()
    with transaction.atomic():
        _one_at_a_time(counted)
        if wait := wait_s(counted, now):
            return Taken(wait)
        Failure.objects.filter(at__lt=now - KEPT).delete()
        rows = [Failure.objects.create(bucket=bucket.name, at=now) for bucket in counted]
    return Taken(0, tuple(row.pk for row in rows))


def forget(counted: list[Bucket], taken: Taken) -> None:
    """A success ends the count of its narrowest bucket; the address keeps its earlier failures."""
    Failure.objects.filter(bucket=counted[0].name).delete()
    Failure.objects.filter(pk__in=taken.rows).delete()


def _one_at_a_time(counted: list[Bucket]) -> None:
    # SQLite has one writer at a time (IMMEDIATE); PostgreSQL is told to here, in one order for all.
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            for name in sorted(bucket.name for bucket in counted):
                cursor.execute("SELECT pg_advisory_xact_lock(hashtext(%s))", [name])


def _wait_of(bucket: Bucket, now: datetime) -> int:
    # What lies ahead was counted before the clock was set back: it would lock people out.
    recent = Failure.objects.filter(
        bucket=bucket.name, at__gt=now - WINDOW, at__lte=now + CLOCKS_DIFFER
    )
    over = recent.count() - bucket.free
    if over < 0:
        return 0
    last: datetime = recent.aggregate(last=Max("at"))["last"]
    wait = min(FIRST_WAIT_S * 2 ** min(over, 10), LONGEST_WAIT_S)
    return max(0, round((last + timedelta(seconds=wait) - now).total_seconds()))


def _known(username: str, device: str) -> bool:
    return KnownDevice.objects.filter(digest=digest(device), user__username=username).exists()


def _name(*parts: str) -> str:
    return hashlib.sha256("\x00".join(parts).encode()).hexdigest()
