"""Completeness kept up to date: after a touch only the flags that read what changed are judged.

Each rule is judged on a record that notes which places the rule asked for. Its answer holds for
any later record with the same context and the same findings at those places.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import cast

from sidewise.note.completeness import Completeness, completeness_with
from sidewise.protocol import load_protocol
from sidewise.reason.flags import URGENCIES, FlagBook, load_flags, red_flags
from sidewise.reason.judge import Judge
from sidewise.reason.result import RedFlag
from sidewise.record import Conflict, Context, Finding, Record

Place = tuple[str, str, str | None]
"""Item, side and mode."""


@dataclass(frozen=True, slots=True)
class _Noting:
    """All of a record that a rule may read; it notes the places that were asked for."""

    record: Record
    asked: set[Place] = field(default_factory=set)

    @property
    def context(self) -> Context:
        """The context, whole: an answer holds only while none of it changes."""
        return self.record.context

    def examined(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What was examined there."""
        self.asked.add((item, side, mode))
        return self.record.examined(item, side, mode)

    @property
    def conflicts(self) -> tuple[Conflict, ...]:
        """As the record says."""
        return self.record.conflicts

    def settlings(self) -> Iterator[Record]:
        """As the record says; a record with conflicts is never compared with an earlier one."""
        return self.record.settlings()

    def is_yardstick(self, side: str) -> bool:
        """As the record says; it follows from the context alone."""
        return self.record.is_yardstick(side)


@dataclass(frozen=True, slots=True)
class Judged:
    """What one flag's rule came to, and the places it rested on."""

    flags: tuple[RedFlag, ...]
    asked: frozenset[Place]


@dataclass(frozen=True, slots=True)
class Standing:
    """A record's completeness, with what each flag rested on."""

    completeness: Completeness
    judged: tuple[Judged, ...]


def standing(record: Record, before: Standing | None = None) -> Standing:
    """How the record stands; `before` is any earlier state of the same examination."""
    rules = _single_rules(record.region)
    old: tuple[Judged | None, ...] = (None,) * len(rules)
    changed: set[Place] = set()
    if before is not None and _comparable(record, before.completeness.record):
        old, changed = before.judged, _changed(record, before.completeness.record)
    judged = tuple(
        known if known is not None and known.asked.isdisjoint(changed) else _judge(record, rule)
        for known, rule in zip(old, rules, strict=True)
    )
    flags = tuple(sorted((f for one in judged for f in one.flags), key=_order))
    return Standing(completeness_with(record, flags), judged)


def _comparable(record: Record, earlier: Record) -> bool:
    # A conflict may raise flags by either of its values, which `settled` leaves out.
    if record.conflicts or earlier.conflicts:
        return False
    return (record.region, record.context) == (earlier.region, earlier.context)


def _changed(record: Record, earlier: Record) -> set[Place]:
    now, then = record.settled, earlier.settled
    return {place for place in now.keys() | then.keys() if now.get(place) != then.get(place)}


def _judge(record: Record, rule: FlagBook) -> Judged:
    noting = _Noting(record)
    judge = Judge(load_protocol(record.region), cast(Record, noting))
    return Judged(red_flags(judge, rule), frozenset(noting.asked))


def _order(flag: RedFlag) -> tuple[bool, int]:
    return flag.status != "raised", URGENCIES.index(flag.urgency)


@lru_cache(maxsize=8)
def _single_rules(region: str) -> tuple[FlagBook, ...]:
    """The region's flags as books of one rule each."""
    book = load_flags(region)
    return tuple(book.model_copy(update={"flags": (rule,)}) for rule in book.flags)
