"""Reads the chain from its first line to its last and says whether it is whole."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from django.apps import apps
from django.apps.registry import Apps
from django.core.exceptions import ObjectDoesNotExist
from django.db import DatabaseError

from sidewise.web.audit import anchors, head
from sidewise.web.audit.keyed_digest import is_mark_of
from sidewise.web.audit.log import LINE, START, bound_in, mark_in, seal_of
from sidewise.web.audit.models import AuditLine

NEW_KEY = "new-key"
"""What the line is about after which another keeping key is in force: the one before was lost."""
UNREADABLE = (
    DatabaseError, ObjectDoesNotExist, ValueError, TypeError, AttributeError, ArithmeticError,
)  # fmt: skip
"""What reading a row can end in when somebody else than the program wrote it."""


@dataclass(frozen=True, slots=True)
class Bound:
    """How one row stood when a line bound it: its mark, None if it was taken out; and that line."""

    mark: str | None
    number: int
    at: datetime
    who: str

    @property
    def when(self) -> str:
        """For a person: by which line, when, and by whom."""
        return f"line {self.number} of {self.at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC ({self.who})"


NOT_MARKED = "is not marked with the keeping key of this machine"
Key = tuple[str, str]
"""The kind of a thing and its key."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """How many lines were read, the last seal, and where the chain is broken, if it is."""

    lines: int
    last_seal: str
    anchors: int
    broken: str = ""
    last_good: str = ""
    """The last line before the break, with its time."""
    marked: int = 0
    """Lines that carry a mark of the keeping key."""
    bound: dict[Key, Bound] = field(default_factory=dict, compare=False, repr=False)
    """How everything that is bound stood last; only as far as the chain is whole."""

    @property
    def whole(self) -> bool:
        """Whether nothing was changed, taken out or slipped in."""
        return not self.broken


@dataclass(frozen=True, slots=True)
class Outside:
    """What was noted outside the database: seals by number, and the furthest line."""

    seals: dict[int, str]
    furthest: dict[int, str] = field(default_factory=dict)

    @property
    def all(self) -> dict[int, str]:
        """Both."""
        return {**self.furthest, **self.seals}


def noted_outside(more: dict[int, str] | None = None) -> Outside:
    """Everything that this machine noted, and seals noted elsewhere."""
    return Outside({**anchors.noted(), **(more or {})}, head.noted())


def verify(
    expected: dict[int, str] | Outside | None = None, using: str = "default",
    registry: Apps = apps,
) -> Verdict:  # fmt: skip
    """Recompute every seal and mark; `expected` are seals noted elsewhere (default: here).

    `registry` holds the models as the database has them: before an upgrade, those of then.
    """
    if expected is None:
        expected = noted_outside()
    elif isinstance(expected, dict):
        expected = Outside(expected)
    rows = registry.get_model("audit", "AuditLine")._default_manager.using(using)
    return _Reading(expected).of(rows)


class _Reading:
    """The chain as far as it was read."""

    def __init__(self, outside: Outside) -> None:
        self.seals, self.expected = outside.seals, outside.all
        self.number, self.seal, self.met, self.marked = 0, START, 0, 0
        self.last_good, self.new_key = "", 0
        self.bound: dict[Key, Bound] = {}

    def of(self, rows: Any) -> Verdict:
        try:
            self.new_key = _last_new_key(rows)
            for line in rows.order_by("number").iterator(chunk_size=2000):
                if broken := self._broken(line):
                    return self._verdict(broken)
                self._take(line)
        except UNREADABLE as error:
            return self._verdict(f"line {self.number + 1} cannot be read: {type(error).__name__}")
        if self.expected and max(self.expected) > self.number:
            return self._verdict(f"lines after {self.number} are missing")
        return self._verdict("")

    def _broken(self, line: AuditLine) -> str:
        number = self.number + 1
        if line.number != number:
            return f"line {number} is missing"
        if seal_of(line, self.seal) != line.seal:
            return f"line {number} was changed"
        if self.expected.get(number, line.seal) != line.seal:
            return f"line {number} is not the one noted outside"
        if number < self.new_key or is_mark_of(mark_in(line), LINE, line.seal):
            return ""
        # Once lines are marked, none without a mark is ours.
        if mark_in(line) or self.marked or bound_in(line) is not None or self.new_key:
            return f"line {number} {NOT_MARKED}"
        return ""

    def _take(self, line: AuditLine) -> None:
        self.number, self.seal = line.number, line.seal
        self.met += line.number in self.seals
        self.marked += bool(mark_in(line))
        self.last_good = f"line {line.number} of {line.at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"
        if line.number == self.new_key:
            # Marks of a key that is lost prove nothing: everything is bound anew after this line.
            self.bound.clear()
            return
        for kind, marks in (bound_in(line) or {}).items():
            for key, mark in marks.items():
                self.bound[kind, key] = Bound(mark, line.number, line.at, line.who)

    def _verdict(self, broken: str) -> Verdict:
        return Verdict(
            self.number, self.seal, self.met, broken, self.last_good, self.marked, self.bound
        )


def _last_new_key(rows: Any) -> int:
    """The number of the last such line that the present key has marked; 0 without one."""
    said = rows.filter(what=NEW_KEY).order_by("-number")
    return next((row.number for row in said if is_mark_of(mark_in(row), LINE, row.seal)), 0)
