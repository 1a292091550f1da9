"""Sheets opened and understood: in another process, a few at a time, remembered for a while."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from hashlib import sha256
from threading import BoundedSemaphore
from typing import TYPE_CHECKING, Any
from uuid import UUID

from sidewise.errors import UserError
from sidewise.ground.cache import LastUsed
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.web.marks.models import MarksSheet
from sidewise.web.marks.store import OF_READING, Answers, erased_rows, grid_of

if TYPE_CHECKING:
    from sidewise.teaching.report.marks_apart import OpenedSheet

AT_ONCE, WAITS_S = 2, 15
_turns = BoundedSemaphore(AT_ONCE)
Key = tuple[UUID, int, int, str]
_understood: LastUsed[Key, Any] = LastUsed(24)


@contextmanager
def _in_turn() -> Iterator[None]:
    if not _turns.acquire(timeout=WAITS_S):
        raise UserError(
            "the sheet", f"a service that is reading {AT_ONCE} others", "a free moment",
            "Nothing was kept. Send it again in a minute.",
        )  # fmt: skip
    try:
        yield
    finally:
        _turns.release()


def open_sent(name: str, data: bytes) -> OpenedSheet:
    """A file that was sent; UserError for one that cannot be used."""
    opened: OpenedSheet = _turn(lambda apart: apart.open_apart(name, data))
    return opened


def read_again(sheet: MarksSheet, answers: Answers) -> OpenedSheet:
    """A kept table as it is understood under these answers; UserError for one that is none."""
    asked = {name: answers[name] for name in OF_READING if name in answers}
    words = json.dumps(asked, sort_keys=True)
    key = (sheet.sitting.key, sheet.number, erased_rows(sheet), words)
    known = _understood.get(key)
    if known is None:
        grid: Grid = grid_of(sheet)
        known = _understood.put(key, _turn(lambda apart: apart.read_again_apart(grid, asked)))
    found: OpenedSheet = known
    return found


def _turn(ask: Callable[[Any], Any]) -> Any:
    # Loaded when first used: the libraries behind it are heavy, and most pages need none.
    from sidewise.teaching.report import marks_apart

    with _in_turn():
        return ask(marks_apart)


def digest_of(data: bytes) -> str:
    """How a file that was sent can be recognised later."""
    return sha256(data).hexdigest()


def sent_name(given: str) -> str:
    """The last part of a file's name, without what cannot be seen; it stands in messages."""
    bare = given.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(letter for letter in bare if letter.isprintable())[:100] or "marks"
