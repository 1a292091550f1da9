"""How far the chain went, noted outside the database after each line.

Whoever puts an older state of the database in place, or cuts lines off its end, leaves a chain
that is whole in itself; it ends before the line noted here.
"""

from __future__ import annotations

import logging
import os
from datetime import UTC, datetime
from pathlib import Path

from sidewise.ground.file_lock import take_lock
from sidewise.web.audit.keyed_digest import is_mark_of, mark_of
from sidewise.web.home import home

PURPOSE = "head of the audit"
WIDTH = 20 + 1 + 64 + 1 + 64 + 1
"""Characters: number, seal, mark and what separates them."""
logger = logging.getLogger("sidewise.audit")


def path() -> Path:
    """The file of this machine."""
    return home() / "audit-head"


def advance(number: int, seal: str, seal_at: dict[int, str] | None = None) -> None:
    """Note this line if it goes further and follows what is noted.

    `seal_at` gives the seal of the line that is noted now, as it stands in the database: where
    that is another one, the note is left as the witness that it is.
    """
    try:
        descriptor = os.open(path(), os.O_RDWR | os.O_CREAT, 0o600)
    except OSError:
        logger.exception("the head of the audit cannot be noted")
        return
    with os.fdopen(descriptor, "r+b", buffering=0) as file:
        take_lock(file, alone=True, wait=True)
        before = _parsed(file.read(WIDTH))
        if before is not None and before[0] >= number:
            return
        if before is not None and seal_at is not None and seal_at.get(before[0]) != before[1]:
            logger.error("audit: line %d is not the one noted outside", before[0])
            return
        file.seek(0)
        file.write(_text(number, seal))


def noted() -> dict[int, str]:
    """The number and seal of the furthest line; nothing where none can be read."""
    try:
        found = _parsed(path().read_bytes()[:WIDTH])
    except OSError:
        return {}
    return {} if found is None else dict([found])


def begin_anew(number: int, seal: str) -> None:
    """After a restore: the former note is kept beside."""
    if path().exists():
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
        path().rename(path().with_name(f"audit-head.before-restore-{stamp}"))
    advance(number, seal)


def _text(number: int, seal: str) -> bytes:
    said = f"{number:20d} {seal}"
    return f"{said} {mark_of(PURPOSE, said)}\n".encode()


def _parsed(raw: bytes) -> tuple[int, str] | None:
    text = raw.decode("ascii", "replace")
    said, mark = text[:85], text[86:150]
    if len(text) < WIDTH or not is_mark_of(mark, PURPOSE, said):
        return None
    return int(said[:20]), said[21:]
