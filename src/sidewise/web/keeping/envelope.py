"""The sealed envelope of a backup: encrypted, and bound to the keeping key.

A line that says what it is, 16 random bytes, the name of the key, then pieces of AES-256-GCM (NIST
SP 800-38D), each with its number and whether it is the last in the nonce, so that none can be
changed, cut off, repeated or moved (the construction STREAM of Hoang, Reyhanitabar, Rogaway and
Vizár, CRYPTO 2015). Every file has a key of its own: HKDF over the keeping key and the 16 bytes.
"""

from __future__ import annotations

import secrets
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from sidewise.errors import UserError
from sidewise.web.audit.keyed_digest import derived_key, mark_of
from sidewise.web.home import KEEPING_KEY_FILE, home

MAGIC = b"sidewise-backup/2\n"
SALT_BYTES = 16
NAME_BYTES = 8
HEADER_BYTES = len(MAGIC) + SALT_BYTES + NAME_BYTES
PIECE = 65_536
TAG_BYTES = 16
IN_MEMORY = 8_000_000
"""Bytes of an opened backup kept in memory; a larger one rests in a file without a name."""
UNSEALED = (
    "Made by version 0.1.0: neither encrypted nor sealed. Whoever had the file could have changed "
    "it unseen."
)


@dataclass(frozen=True, slots=True)
class Opened:
    """The archive inside, and whether it came out of an envelope."""

    path: Path
    file: BinaryIO
    sealed: bool
    size: int
    """Bytes of the archive."""


def key_name() -> bytes:
    """Tells one keeping key from another without telling it."""
    return bytes.fromhex(mark_of("name of the key", ""))[:NAME_BYTES]


class Sealing:
    """A file to write to; what is written goes into the envelope. Not seekable."""

    def __init__(self, raw: BinaryIO) -> None:
        salt = secrets.token_bytes(SALT_BYTES)
        self._header = MAGIC + salt + key_name()
        self._cipher = AESGCM(derived_key("backup", salt))
        self._raw, self._rest, self._number = raw, bytearray(), 0
        raw.write(self._header)

    def write(self, data: bytes) -> int:
        """Take these bytes in."""
        self._rest += data
        # One piece stays behind: only at the end is it known which is the last.
        while len(self._rest) > PIECE:
            self._put(bytes(self._rest[:PIECE]), last=False)
            del self._rest[:PIECE]
        return len(data)

    def flush(self) -> None:
        """Nothing: pieces are written when they are full."""

    def finish(self) -> None:
        """The last piece."""
        self._put(bytes(self._rest), last=True)

    def _put(self, piece: bytes, *, last: bool) -> None:
        self._raw.write(self._cipher.encrypt(_nonce(self._number, last), piece, self._header))
        self._number += 1


def _nonce(number: int, last: bool) -> bytes:
    return number.to_bytes(11, "big") + bytes([last])


@contextmanager
def opened(path: Path) -> Iterator[Opened]:
    """The archive in a backup; UserError if it was sealed with another key or is damaged.

    A file without an envelope (version 0.1.0) is given as it is.
    """
    with path.open("rb") as raw:
        if raw.read(len(MAGIC)) != MAGIC:
            raw.seek(0)
            yield Opened(path, raw, False, path.stat().st_size)
            return
        with tempfile.SpooledTemporaryFile(max_size=IN_MEMORY) as inside:
            size = _unseal(path, raw, inside)
            inside.seek(0)
            yield Opened(path, inside, True, size)  # type: ignore[arg-type]  # a file in all but name


def _unseal(path: Path, raw: BinaryIO, target: tempfile.SpooledTemporaryFile[bytes]) -> int:
    salt, name = raw.read(SALT_BYTES), raw.read(NAME_BYTES)
    if name != key_name():
        raise UserError(path.name, "sealed with another key", "the keeping key of this machine",
                        f"Put the key it was made with into {home() / KEEPING_KEY_FILE}, or into "
                        "SIDEWISE_KEEPING_KEY. If it is there, the file is damaged or foreign."
                        )  # fmt: skip
    cipher, header = AESGCM(derived_key("backup", salt)), MAGIC + salt + name
    size, number, piece = 0, 0, raw.read(PIECE + TAG_BYTES)
    while True:
        following = raw.read(PIECE + TAG_BYTES)
        try:
            plain = cipher.decrypt(_nonce(number, not following), piece, header)
        except InvalidTag as error:
            raise UserError(path.name, f"piece {number} that was not written so",
                            "a backup exactly as it was written",
                            "Damaged or foreign; nothing was changed. Use another backup."
                            ) from error  # fmt: skip
        target.write(plain)
        size, number, piece = size + len(plain), number + 1, following
        if not following:
            return size
