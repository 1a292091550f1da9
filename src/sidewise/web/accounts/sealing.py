"""Secrets at rest: sealed with a key that is derived from the signing key and its purpose.

AES-256-GCM (NIST SP 800-38D) with a random 96-bit nonce; the key by HKDF-SHA-256 (RFC 5869).
"""

from __future__ import annotations

import hashlib
import secrets

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings

from sidewise.errors import UserError

NONCE_BYTES = 12


def _cipher(purpose: str) -> AESGCM:
    derive = HKDF(algorithm=SHA256(), length=32, salt=None, info=f"sidewise {purpose}".encode())
    return AESGCM(derive.derive(settings.SECRET_KEY.encode()))


def seal(secret: bytes, purpose: str) -> bytes:
    """The secret, readable again only with the signing key and for the same purpose."""
    nonce = secrets.token_bytes(NONCE_BYTES)
    return nonce + _cipher(purpose).encrypt(nonce, secret, None)


def unseal(sealed: bytes | memoryview, purpose: str) -> bytes:
    """What was sealed; UserError when the signing key is another one."""
    sealed = bytes(sealed)
    try:
        return _cipher(purpose).decrypt(sealed[:NONCE_BYTES], sealed[NONCE_BYTES:], None)
    except InvalidTag as error:
        raise UserError(
            "sealed secret", "another signing key", "the key it was sealed with",
            "Put back the secret-key file, or reset the second factor of this account.",
        ) from error  # fmt: skip


def digest(token: str) -> str:
    """How a random token is kept: its hash alone. Only for tokens of full entropy."""
    return hashlib.sha256(token.encode()).hexdigest()
