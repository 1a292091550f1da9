"""Records taken in from tables: every fault with its row; with a fault nothing is written."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from sidewise.errors import UserError, UserErrors
from sidewise.exchange.tables.record_source import Entry
from sidewise.ground.whole_file import write_text
from sidewise.reason.batch.records import SetAside
from sidewise.record import Record, record_json

SAFE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,79}")


@dataclass(frozen=True, slots=True)
class Intake:
    """What came in: the files written, and what was set aside."""

    files: tuple[str, ...]
    set_aside: tuple[SetAside, ...]


def take_in_records(
    entries: Iterable[Entry],
    folder: Path,
    *,
    keep_good: bool = False,
    progress: Callable[[int], None] = lambda _done: None,
) -> Intake:
    """Write one examination a record into the folder; existing files are never written over.

    UserErrors with every fault and its row where any row cannot be used; with `keep_good` the
    others are written all the same. Two passes are not needed: files are moved in at the end.
    """
    aside: list[SetAside] = []
    folder.mkdir(parents=True, exist_ok=True)
    waiting: list[tuple[Path, Path]] = []
    try:
        for entry in entries:
            if isinstance(entry, Record):
                waiting.append(_written(entry, folder))
                progress(len(waiting))
            else:
                aside += entry
        if aside and not keep_good:
            raise UserErrors([error_of(one) for one in aside])
        for held, path in waiting:
            held.rename(path)
        return Intake(tuple(path.name for _, path in waiting), tuple(aside))
    finally:
        for held, _ in waiting:
            held.unlink(missing_ok=True)


def error_of(one: SetAside) -> UserError:
    """Why a row was set aside, as an error for a person."""
    place = one.source if one.row is None else f"{one.source}, row {one.row}"
    record = f" ({one.record})" if one.record else ""
    return RowError(f"{place}{record}: {one.reason}")


class RowError(UserError):
    """A fault of a row, whose four parts are already one message."""

    def __init__(self, text: str) -> None:
        self.text = text
        super().__init__(text, "", "", "")

    @property
    def message(self) -> str:
        """The message as it was made where the fault was found."""
        return self.text

    def __reduce__(self) -> tuple[type[RowError], tuple[str]]:
        return type(self), (self.text,)


def record_file_name(record: str) -> str:
    """A file name for a record's number, whatever stands in it."""
    if SAFE_NAME.fullmatch(record):
        return f"{record}.json"
    plain = re.sub(r"[^A-Za-z0-9._-]+", "-", record).strip(".-")[:60] or "record"
    return f"{plain}-{hashlib.sha256(record.encode('utf-8', 'replace')).hexdigest()[:8]}.json"


def _written(record: Record, folder: Path) -> tuple[Path, Path]:
    path = folder / record_file_name(record.id)
    if path.exists():
        raise UserError(str(path), "a file that is there", "a record that is not there yet",
                        "Name another folder; nothing is written over.")  # fmt: skip
    held = folder / f".{path.name}.new"
    write_text(held, record_json(record) + "\n")
    return held, path
