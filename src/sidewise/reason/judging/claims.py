"""What a record says of one leaf of a rule: every value that was claimed for it, and any doubt.

A place at which findings contradict each other, and a field of the visit that was stated
differently, claim several values; each is looked at by itself, with the others left out.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import prod
from typing import Any, cast

from sidewise.protocol import Item, Protocol
from sidewise.protocol.criteria import Criterion
from sidewise.reason.judging.judge import Judge, State, Verdict
from sidewise.reason.judging.truth import DOUBTED, FAILS, HOLDS, UNSTATED, Truth
from sidewise.record import OTHER, Conflict, Context, Finding, Record

BOTH_SIDED = frozenset(("side_loss", "side_gain", "level_loss", "vital_gap"))
BY_SIZE = frozenset(("angle", "side_loss", "side_gain", "active_gap"))
"""Criteria that turn on the size of an angle alone: of many values the two ends are enough."""
MOST_TOGETHER = 64
EVEN = 0.5
"""Short of a threshold by less than the error of reading: a doubt, not a finding."""

Place = tuple[str, str, str | None]


@dataclass(frozen=True, slots=True)
class Claim:
    """One value claimed for a leaf: what it comes to and the words for it."""

    truth: Truth
    because: str


@dataclass(frozen=True, slots=True)
class Settled:
    """A record as it would be with one of the disputed values kept."""

    record: Record
    kept: dict[Place, Finding]
    stated: Context | None = None

    @property
    def region(self) -> str:
        """As the record says."""
        return self.record.region

    @property
    def context(self) -> Context:
        """The context, with one of its disputed fields settled where one was."""
        return self.stated or self.record.context

    def examined(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What was examined there, by the finding that is kept."""
        there = self.record.examined(item, side, mode)
        kept = self.kept.get((item, side, mode))
        if kept is None:
            return there
        return (kept,) if kept.status == "examined" else ()

    def tried(self, item: str, side: str, mode: str | None = None) -> tuple[Finding, ...]:
        """What could not or must not be done there, by the finding that is kept."""
        there = self.record.tried(item, side, mode)
        kept = self.kept.get((item, side, mode))
        if kept is None:
            return there
        return (kept,) if kept.status in ("unable", "withheld") else ()

    def is_yardstick(self, side: str) -> bool:
        """As the record says."""
        return self.record.is_yardstick(side)


def claims(judge: Judge, criterion: Criterion, item: str, side: str) -> tuple[Claim, ...]:
    """Every value that the record claims for a criterion on one side."""
    entry = judge.protocol.by_id.get(item)
    if entry is None:
        return _of_context(judge, criterion, item, side)
    disputed = _disputed(judge.record, criterion, entry, side)
    if not disputed:
        return (_claim(judge, criterion, item, side),)
    return tuple(
        _claim(_settled(judge, kept), criterion, item, side)
        for kept in _ways(disputed, criterion.test in BY_SIZE)
    )


def _settled(judge: Judge, kept: dict[Place, Finding], stated: Context | None = None) -> Judge:
    view = cast(Record, Settled(judge.record, kept, stated))
    return Judge(judge.protocol, view, judge.sem)


def _of_context(judge: Judge, criterion: Criterion, name: str, side: str) -> tuple[Claim, ...]:
    """A question or a vital sign, with each answer or reading that was given."""
    table = "history" if name in judge.protocol.history_by_id else "vitals"
    context = judge.record.context
    given = context.disputed.get(f"{table}.{name}")
    if not given:
        return (_claim(judge, criterion, name, side),)
    said = getattr(context, table)
    return tuple(
        _claim(
            _settled(judge, {}, context.model_copy(update={table: {**said, name: value}})),
            criterion,
            name,
            side,
        )
        for value in given
    )


def _claim(judge: Judge, criterion: Criterion, item: str, side: str) -> Claim:
    verdict = judge.criterion(criterion, item, side)
    match verdict.state:
        case State.MET:
            return Claim(HOLDS, verdict.because)
        case State.SOFT:
            return Claim(HOLDS if verdict.weight >= EVEN else DOUBTED, verdict.because)
        case State.NOT_MET:
            return Claim(FAILS, verdict.because)
    return _unknown(judge, verdict, criterion, item, side)


def _unknown(judge: Judge, verdict: Verdict, criterion: Criterion, item: str, side: str) -> Claim:
    if verdict.doubt:
        return Claim(DOUBTED, verdict.because)
    for tried in _tried(judge, criterion, item, side):
        how = "could not be done" if tried.status == "unable" else "not done"
        return Claim(DOUBTED, f"{how} ({tried.reason})")
    return Claim(UNSTATED, "")


def _tried(judge: Judge, criterion: Criterion, item: str, side: str) -> Iterator[Finding]:
    entry = judge.protocol.by_id.get(item)
    if entry is not None:
        for where in _sides_read(criterion, entry, side):
            for mode in modes_read(criterion, entry):
                yield from judge.record.tried(item, where, mode)


def _sides_read(criterion: Criterion, item: Item, side: str) -> tuple[str, ...]:
    """This side, and the other one too where the criterion compares them."""
    if not item.paired:
        return ("midline",)
    if criterion.test in BOTH_SIDED and side in OTHER:
        return (side, OTHER[side])
    return (side,)


def modes_read(criterion: Criterion, item: Item) -> tuple[str | None, ...]:
    """The modes of movement that a criterion reads."""
    if not item.modes:
        return (None,)
    mode = getattr(criterion, "mode", None)
    if mode:
        return (mode,)
    return ("active", "passive") if criterion.test == "active_gap" else item.modes


def _disputed(record: Record, criterion: Criterion, item: Item, side: str) -> tuple[Conflict, ...]:
    modes = modes_read(criterion, item)
    # Asked for place by place, so that a record that notes what is read sees it.
    return tuple(
        conflict
        for where in _sides_read(criterion, item, side)
        for mode in modes
        if (conflict := record.disputed_at(item.id, where, mode)) is not None
    )


def _ways(disputed: tuple[Conflict, ...], by_size: bool) -> Iterator[dict[Place, Finding]]:
    """The ways to settle the few disputed places that one leaf reads."""
    places: list[Place] = [(c.item, c.side, c.mode) for c in disputed]
    choices = [_values(conflict, by_size) for conflict in disputed]
    if prod(map(len, choices)) <= MOST_TOGETHER:
        for one in product(*choices):
            yield dict(zip(places, one, strict=True))
        return
    # So many statements of one place are no examination; each is still heard by itself.
    for number, values in enumerate(choices):
        for value in values:
            first = [some[0] for some in choices]
            first[number] = value
            yield dict(zip(places, first, strict=True))


def _values(conflict: Conflict, by_size: bool) -> list[Finding]:
    different = {_content(finding): finding for finding in conflict.findings}
    found = list(different.values())
    angles = [f for f in found if f.value is not None and f.value.kind == "angle"]
    if by_size and len(angles) > 2:
        size: Any = lambda finding: finding.value.degrees  # noqa: E731
        ends = [min(angles, key=size), max(angles, key=size)]
        return [*ends, *(f for f in found if f not in angles)]
    return found


def _content(finding: Finding) -> tuple[str, str]:
    value = finding.value.model_dump_json() if finding.value is not None else ""
    return finding.status, value


def label_of(name: str, protocol: Protocol) -> str:
    """The label of an item, a question or a vital sign."""
    target = (
        protocol.by_id.get(name)
        or protocol.history_by_id.get(name)
        or protocol.vitals_by_id.get(name)
    )
    assert target is not None, "words were resolved when the rules were loaded"
    return target.label
