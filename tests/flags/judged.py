"""A presentation judged: its flags by id, and what they withhold."""

from __future__ import annotations

from functools import lru_cache

from sidewise.reason.judging.flags import Withheld, red_flags, withheld
from sidewise.reason.judging.judge import Judge
from sidewise.reason.result import RedFlag
from sidewise.record import Record
from tests.shoulder import BOOK, PROTOCOL


def flags(record: Record) -> dict[str, RedFlag]:
    """Every flag that is not silent, by its id."""
    return {flag.flag: flag for flag in red_flags(Judge(PROTOCOL, record), BOOK)}


def raised(record: Record) -> set[str]:
    """The flags raised."""
    return {name for name, flag in flags(record).items() if flag.status == "raised"}


def kept_back(found: dict[str, RedFlag]) -> Withheld:
    """What the raised ones withhold."""
    return withheld(tuple(found.values()), BOOK)


@lru_cache(maxsize=1)
def ids() -> tuple[str, ...]:
    """The flags in the order of the file."""
    return tuple(flag.id for flag in BOOK.flags)
