"""Every value an item may be recorded with, and what each would say to each of its readings.

The values of a kind are few, or few are enough. Each is put into an otherwise empty record and
judged as a real one would be, once for a region: whatever is then chosen gives back, when
judged, what it was chosen for, because that is how it was chosen.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import combinations
from typing import Any

from sidewise.kinds import KINDS, Limits, Value
from sidewise.kinds.result import LAG, ResultLimits
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Protocol, Reading, protocol_of
from sidewise.protocol.fits import NEEDS
from sidewise.reason.judging.judge import Judge, State
from sidewise.record import Context, Finding, Record

ARCS = ((60, 120), (70, 110), (80, 120), (150, 180), (165, 180), (65, 180), (30, 50))
LAGS = (3.0, 8.0, 15.0, 25.0)
CENTIMETRES = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
SECONDS = (20.0, 45.0, 75.0)
MEASURED_KINDS = ("angle", "level")
"""Kinds whose readings compare sides or modes: `movements` makes them."""
SKIPPED = ("normal_by_eye", "reduced_by_eye", "text", "vital", "force", "place")


@dataclass(frozen=True)
class PossibleValue:
    """One value, what it says to each reading that it can speak to, and whether it is normal."""

    value: Value
    says: dict[str, bool]
    normal: bool


ItemValues = dict[str, tuple[PossibleValue, ...]]
"""By kind of value."""


def possible_values(region: Region) -> dict[str, ItemValues]:
    """For each item of a region the values of each of its kinds; made once."""
    return region.view(_possible)


def _possible(region: Region) -> dict[str, ItemValues]:
    protocol = protocol_of(region)
    return {item.id: dict(_of_item(protocol, item)) for item in protocol.items}


def _of_item(protocol: Protocol, item: Item) -> Iterator[tuple[str, tuple[PossibleValue, ...]]]:
    readings = protocol.readings_by_item.get(item.id, ())
    for limits in item.offered:
        if limits.kind in (*SKIPPED, *MEASURED_KINDS):
            continue
        own = [one for one in readings if limits.kind in NEEDS.get(one.criterion.test, ())]
        values = [KINDS[limits.kind].value.model_validate(data) for data in _data(limits)]
        found = tuple(_judged(protocol, item, value, own, limits) for value in values)
        if found:
            yield limits.kind, found


def _judged(
    protocol: Protocol, item: Item, value: Value, readings: list[Reading], limits: Limits
) -> PossibleValue:
    side = "left" if item.paired else "midline"
    mode = item.modes[0] if item.modes else None
    finding = Finding(item=item.id, side=side, mode=mode, value=value)
    judge = Judge(protocol, blank_record(protocol.region, (finding,)))
    says = {}
    for one in readings:
        verdict = judge.criterion(one.criterion, one.item, side)
        if verdict.state in (State.MET, State.NOT_MET):
            says[one.id] = verdict.state is State.MET
    normal = KINDS[limits.kind].is_normal(value, limits)
    return PossibleValue(value, says, bool(normal))


def blank_record(region: str, findings: tuple[Finding, ...] = ()) -> Record:
    """A record of nobody, to hold findings against criteria."""
    context = Context(patient="nobody", examiner="nobody",
                      examined_at=datetime(2000, 1, 1, tzinfo=UTC))  # fmt: skip
    return Record(id="blank", region=region, context=context, findings=findings)


def _data(limits: Any) -> Iterator[dict[str, Any]]:
    kind = limits.kind
    for data in WAYS[kind](limits) if kind in WAYS else ():
        yield {"kind": kind, **data}


def _signs(limits: Any) -> Iterator[dict[str, Any]]:
    yield {"grade": limits.grades[0]}
    for grade in limits.grades[1:]:
        for place in limits.places or (None,):
            yield {"grade": grade, "place": place}


def _results(limits: ResultLimits) -> Iterator[dict[str, Any]]:
    """Everything a manoeuvre can reproduce is said of each, yes or no."""
    none = dict.fromkeys(limits.aspects, False)
    yield {"result": "negative", **none}
    for size in range(1, min(len(limits.aspects), 3) + 1):
        for there in combinations(limits.aspects, size):
            said = {**none, **dict.fromkeys(there, True)}
            for where in limits.places or (None,):
                for lag in LAGS if LAG in there else (None,):
                    yield {"result": "positive", **said, "where": where, "lag_degrees": lag}


def _choices(limits: Any) -> Iterator[dict[str, Any]]:
    for option in limits.options:
        if option not in limits.unspecified:
            yield {"choice": (option,) if limits.several else option}


def _arcs(limits: Any) -> Iterator[dict[str, Any]]:
    yield {"painless": True}
    for low, high in ARCS:
        if limits.low <= low and high <= limits.high:
            yield {"from": low, "to": high}


WAYS: dict[str, Any] = {
    "sign": _signs,
    "result": _results,
    "choice": _choices,
    "arc": _arcs,
    "tenderness": lambda _limits: ({"grade": grade} for grade in range(4)),
    "mrc": lambda _limits: ({"grade": grade} for grade in ("5", "4+", "4", "4-", "3", "2")),
    "reflex": lambda _limits: ({"reflex": word} for word in ("normal", "reduced", "absent")),
    "sensation": lambda _limits: (
        {"sensation": word} for word in ("normal", "reduced", "absent")
    ),
    "pulse": lambda _limits: ({"pulse": "normal"} for _ in range(1)),
    "count": lambda limits: ({"count": number} for number in range(limits.high + 1)),
    "length": lambda limits: (
        {"cm": cm} for cm in CENTIMETRES if limits.low <= cm <= limits.high
    ),
    "seconds": lambda limits: (
        {"none": True}, *({"seconds": time} for time in SECONDS if time < limits.high),
    ),
}  # fmt: skip
