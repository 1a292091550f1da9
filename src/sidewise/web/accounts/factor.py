"""The second factor: time-based one-time codes (RFC 6238, 30 s, six digits), each used once."""

from __future__ import annotations

import hmac
import secrets
from datetime import datetime

import pyotp
from django.conf import settings
from django.utils import timezone

from sidewise.web.accounts.models import Factor, RecoveryCode, User
from sidewise.web.accounts.sealing import digest, seal, unseal
from sidewise.web.audit.binding import gathered

STEP_S = 30
DRIFT_STEPS = 1  # a telephone's clock may be half a minute off
PURPOSE = "second factor"
RECOVERY_CODES = 10
RECOVERY_LETTERS = 24
"""Of base 32: 120 random bits, so that a plain hash may keep them (OWASP ASVS 5.0.0, 6.5.2)."""


def required() -> bool:
    """Whether nobody can work here without a second factor."""
    return settings.SECOND_FACTOR == "required"


def has_factor(user: User) -> bool:
    """Whether a second factor has been set up and proven once."""
    return Factor.objects.filter(user=user, confirmed_at__isnull=False).exists()


def begin(user: User) -> Factor:
    """A fresh secret, not in force until a code proves that the telephone has it."""
    secret = pyotp.random_base32()  # 160 bits
    Factor.objects.filter(user=user, confirmed_at__isnull=True).delete()
    return Factor.objects.create(user=user, sealed=seal(secret.encode(), PURPOSE))


def secret_of(factor: Factor) -> str:
    """The shared secret, base 32."""
    return unseal(factor.sealed, PURPOSE).decode()


def address_of(factor: Factor) -> str:
    """What the authenticator reads from the picture."""
    return pyotp.TOTP(secret_of(factor)).provisioning_uri(
        name=factor.user.username, issuer_name="sidewise"
    )


def check(user: User, code: str, now: datetime | None = None) -> bool:
    """Whether the code is right and has not been used; a recovery code counts once."""
    code = code.replace(" ", "").replace("-", "")
    return _check_time_code(user, code, now or timezone.now()) or _use_recovery(user, code)


def confirm(user: User, code: str, now: datetime | None = None) -> list[str]:
    """Put the new factor in force and return the recovery codes, shown once; [] if wrong."""
    now = now or timezone.now()
    if not _check_time_code(user, code.replace(" ", ""), now):
        return []
    Factor.objects.filter(user=user).update(confirmed_at=now)
    return new_recovery_codes(user)


def new_recovery_codes(user: User) -> list[str]:
    """Ten fresh codes; the old ones are void."""
    codes = [pyotp.random_base32(32)[:RECOVERY_LETTERS] for _ in range(RECOVERY_CODES)]
    RecoveryCode.objects.filter(user=user).delete()
    RecoveryCode.objects.bulk_create(RecoveryCode(user=user, digest=digest(c)) for c in codes)
    return ["-".join(code[i : i + 4] for i in range(0, len(code), 4)) for code in codes]


def remove(user: User) -> None:
    """Take the second factor away; whoever calls has checked who asks."""
    Factor.objects.filter(user=user).delete()
    RecoveryCode.objects.filter(user=user).delete()


def _check_time_code(user: User, code: str, now: datetime) -> bool:
    if not (code.isascii() and code.isdigit() and len(code) == 6):
        return False
    with gathered():
        factor = Factor.objects.select_for_update().filter(user=user).first()
        if factor is None:
            return False
        step = _matching_step(secret_of(factor), code, int(now.timestamp()) // STEP_S)
        # A step at or before the last one used may have been seen by somebody else: refused.
        if step is None or step <= factor.last_step:
            return False
        factor.last_step = step
        factor.save(update_fields=["last_step"])
    return True


def _matching_step(secret: str, code: str, current: int) -> int | None:
    totp = pyotp.TOTP(secret)
    steps = range(current - DRIFT_STEPS, current + DRIFT_STEPS + 1)
    return next((s for s in steps if hmac.compare_digest(totp.generate_otp(s), code)), None)


def _use_recovery(user: User, code: str) -> bool:
    kept = RecoveryCode.objects.filter(user=user, used_at=None, digest=digest(code.upper()))
    return kept.update(used_at=timezone.now()) == 1


def device_token() -> str:
    """A random mark for a browser that has signed in (256 bits)."""
    return secrets.token_urlsafe(32)
