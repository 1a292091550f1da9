"""Marks that only the holder of the keeping key can make.

HMAC-SHA-256 (RFC 2104) with a key derived for each purpose by HKDF-SHA-256 (RFC 5869). The key
never stands in the database, so whoever can only write there can change a row but not mark it.
"""

from __future__ import annotations

import hmac
from functools import lru_cache

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

KEY_BYTES = 32


def derived_key(purpose: str, salt: bytes | None = None) -> bytes:
    """256 bits for one purpose; `salt` makes them another key each time."""
    return _derived(settings.KEEPING_KEY, purpose, salt)


@lru_cache(maxsize=32)
def _derived(key: str, purpose: str, salt: bytes | None) -> bytes:
    derive = HKDF(algorithm=SHA256(), length=KEY_BYTES, salt=salt, info=purpose.encode())
    return derive.derive(key.encode())


def mark_of(purpose: str, text: str) -> str:
    """64 hexadecimal digits over the text."""
    return hmac.new(
        derived_key(purpose), text.encode("utf-8", "surrogatepass"), "sha256"
    ).hexdigest()


def is_mark_of(mark: str, purpose: str, text: str) -> bool:
    """Whether this key made the mark for this text."""
    return hmac.compare_digest(mark.encode(), mark_of(purpose, text).encode())
