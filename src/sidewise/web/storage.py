"""What a full disk, a read-only folder or a damaged file is called, and whether one is here."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from time import monotonic

from sidewise.web.home import home

LEAST_FREE = 50_000_000
"""Bytes: below this a write may fail at any moment, and a backup surely does."""
REMEMBERED_S = 60
"""So long after a write failed the health page says so."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing that can be wrong with the place where everything is kept."""

    name: str
    """For the health page: one word."""
    page: str
    """For whoever works at a page."""
    do: str
    """For whoever runs the service."""


FULL = Trouble(
    "disk-full", "The disk of the server is full.",
    "Make room on the disk, then try again. Nothing that was confirmed is lost.",
)  # fmt: skip
READ_ONLY = Trouble(
    "read-only", "The server cannot write to its store.",
    "Give this user the right to write to the data folder and its files.",
)  # fmt: skip
DAMAGED = Trouble(
    "damaged", "The store of the server cannot be read.",
    "Keep the file as it is, check the disk, and restore the last backup.",
)  # fmt: skip
BUSY = Trouble(
    "busy", "The store of the server is held by another program.",
    "Another program holds the database; try again when it has finished.",
)  # fmt: skip
NO_SERVER = Trouble(
    "database", "The database server does not answer.",
    "Start the database server, or correct SIDEWISE_DATABASE_URL.",
)  # fmt: skip
WORDS = {
    "connection failed": NO_SERVER, "connection refused": NO_SERVER, "server closed": NO_SERVER,
    "terminating connection": NO_SERVER, "connection is lost": NO_SERVER,
    "connection is closed": NO_SERVER,
    "is full": FULL, "no space left": FULL, "readonly": READ_ONLY, "read-only": READ_ONLY,
    "permission denied": READ_ONLY, "unable to open": READ_ONLY, "locked": BUSY,
    "malformed": DAMAGED, "not a database": DAMAGED, "i/o error": DAMAGED, "codec": DAMAGED,
    "input/output error": DAMAGED, "could not read block": DAMAGED, "invalid page": DAMAGED,
}  # fmt: skip
"""By a piece of what SQLite, PostgreSQL or the system says."""

_last: dict[str, float] = {}


def trouble_in(error: BaseException) -> Trouble | None:
    """What of the store is wrong, if that is what the error says."""
    text = str(error).lower()
    return next((trouble for word, trouble in WORDS.items() if word in text), None)


def note(trouble: Trouble) -> None:
    """A request failed by it: the health page says so for a while."""
    _last[trouble.name] = monotonic()


def present_trouble() -> str:
    """One word for what is wrong with the store now; nothing where all is well."""
    for name, at in _last.items():
        if monotonic() - at < REMEMBERED_S:
            return name
    try:
        return FULL.name if shutil.disk_usage(home()).free < LEAST_FREE else ""
    except OSError:
        return READ_ONLY.name
