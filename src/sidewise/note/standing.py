"""Completeness kept up to date: after a touch only the rules that read what changed are judged.

The rules of the flags, and those that call for items.

Each rule is judged on a record that notes which places the rule asked for. Its answer holds for
any later record with the same context and the same findings at those places.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Generic, TypeVar, cast

from sidewise.knowledge.region import Region
from sidewise.note.completeness import Completeness, completeness_with
from sidewise.protocol import Protocol, protocol_of
from sidewise.reason.judging.called_for import called_for_rules, calls
from sidewise.reason.judging.flags import FlagBook, flag_book_of, flag_order, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.results import record_with_results
from sidewise.reason.judging.rules import Rule
from sidewise.reason.judging.ruling import Ruling
from sidewise.reason.judging.visit_calls import with_visit_calls
from sidewise.reason.result import RedFlag
from sidewise.record import Conflict, Context, Finding, Record

Found = TypeVar("Found")
Asked = TypeVar("Asked")
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

    def tried(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What could not be done there."""
        self.asked.add((item, side, mode))
        return self.record.tried(item, side, mode)

    def disputed_at(self, item: str, side: str, mode: str | None = None) -> Conflict | None:
        """The conflict there, if there is one."""
        self.asked.add((item, side, mode))
        return self.record.disputed_at(item, side, mode)

    def is_yardstick(self, side: str) -> bool:
        """As the record says; it follows from the context alone."""
        return self.record.is_yardstick(side)


@dataclass(frozen=True, slots=True)
class Judged(Generic[Found]):
    """What one rule came to, and the places it rested on."""

    found: Found
    asked: frozenset[Place]


@dataclass(frozen=True, slots=True)
class Standing:
    """A record's completeness, with what each flag and each rule that calls for items rested on."""

    completeness: Completeness
    judged: tuple[Judged[tuple[RedFlag, ...]], ...]
    called: tuple[Judged[bool], ...]


@dataclass(frozen=True, slots=True)
class _Since:
    """A record, and the places that changed since the state whose answers may still hold."""

    record: Record
    protocol: Protocol
    changed: frozenset[Place] | None
    """None where nothing may be kept."""

    def judged(
        self,
        rules: Sequence[Asked],
        known: Sequence[Judged[Found]],
        judge: Callable[[Record, Protocol, Asked], Judged[Found]],
    ) -> tuple[Judged[Found], ...]:
        """Each rule's answer: the one known where it still holds, else judged again."""
        if self.changed is None:
            return tuple(judge(self.record, self.protocol, rule) for rule in rules)
        return tuple(
            old if old.asked.isdisjoint(self.changed) else judge(self.record, self.protocol, rule)
            for old, rule in zip(known, rules, strict=True)
        )


def standing(record: Record, region: Region, before: Standing | None = None) -> Standing:
    """How the record stands; `before` is any earlier state of the same examination."""
    record = record_with_results(record, protocol_of(region))
    since = _Since(record, protocol_of(region), _changed(record, before))
    judged = since.judged(region.view(_single_rules), before.judged if before else (), _judge)
    groups = region.view(_calling_rules)
    called = since.judged(tuple(groups), before.called if before else (), _calls)
    flags = tuple(sorted((f for one in judged for f in one.found), key=flag_order))
    opened = {
        name for items, one in zip(groups.values(), called, strict=True) if one.found
        for name in items
    }  # fmt: skip
    why = {one.item: one.because for one in called_for_rules(region) if one.item in opened}
    wanted = with_visit_calls(why, record, region, flags)
    return Standing(completeness_with(record, region, flags, wanted), judged, called)


def _changed(record: Record, before: Standing | None) -> frozenset[Place] | None:
    """The places at which the findings differ; None where everything is to be judged again."""
    if before is None or not _comparable(record, before.completeness.record):
        return None
    now, then = record.by_place, before.completeness.record.by_place
    places = now.keys() | then.keys()
    return frozenset(place for place in places if now.get(place) != then.get(place))


def _comparable(record: Record, earlier: Record) -> bool:
    return (record.region, record.context) == (earlier.region, earlier.context)


def _judge(record: Record, protocol: Protocol, rule: FlagBook) -> Judged[tuple[RedFlag, ...]]:
    noting = _Noting(record)
    judge = Judge(protocol, cast(Record, noting))
    return Judged(red_flags(judge, rule), frozenset(noting.asked))


def _calls(record: Record, protocol: Protocol, rule: Rule) -> Judged[bool]:
    noting = _Noting(record)
    found = calls(rule, Ruling(Judge(protocol, cast(Record, noting))))
    return Judged(found, frozenset(noting.asked))


def _single_rules(region: Region) -> tuple[FlagBook, ...]:
    """The region's flags as books of one rule each."""
    book = flag_book_of(region)
    return tuple(book.model_copy(update={"flags": (rule,)}) for rule in book.flags)


def _calling_rules(region: Region) -> dict[Rule, tuple[str, ...]]:
    """The rules that call for items, each once, with the items it calls for."""
    found: dict[Rule, tuple[str, ...]] = {}
    for one in called_for_rules(region):
        found[one.rule] = (*found.get(one.rule, ()), one.item)
    return found
