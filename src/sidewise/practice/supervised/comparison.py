"""A learner's findings beside the supervisor's, against the published error of two examiners.

A number differs when the two readings are further apart than error alone seldom takes two
examiners: 1.96 * sqrt(SEM1^2 + SEM2^2), with the published errors between examiners of the
instruments that were used (`measure`). A sign or a grade is the same or it is not; beside it
stands how well two examiners are known to agree on it, where that is published. Neither says who
was right: the supervisor's hand is another hand.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sidewise.errors import UserError
from sidewise.ground.interval import Z95
from sidewise.kinds import kind_of
from sidewise.knowledge.region import Region
from sidewise.measure import Measurement, MeasurementTables, measurements, tables_of
from sidewise.measure.sides.errors_used import Wanted, error_for, instrument_disagreement
from sidewise.measure.sides.readings import WORDS, number_with_unit
from sidewise.measure.visits.changes import change_test
from sidewise.practice.supervised.hands_table import exchanged_items
from sidewise.practice.supervised.place import (
    BEYOND,
    NO_ERROR,
    SAME,
    THEY_LEFT_OUT,
    UNLIKE,
    WITHIN,
    YOU_LEFT_OUT,
    FindingCompared,
)
from sidewise.protocol import Item, Protocol, protocol_of
from sidewise.record import Finding, Record

COMPARISON_FORMAT = "sidewise-hands-compared/1"
Place = tuple[str, str, str | None]


@dataclass(frozen=True, slots=True)
class HandsCompared:
    """One visit. look_again: what differs most from what error explains, "" where nothing does.

    how: how that item is done, from the protocol. swapped: items whose sides may be exchanged.
    """

    region: str
    places: tuple[FindingCompared, ...]
    swapped: tuple[str, ...]
    look_again: str
    how: str
    left_out: tuple[str, ...]

    def count(self, *verdicts: str) -> int:
        """How many places have one of these verdicts."""
        return sum(one.verdict in verdicts for one in self.places)

    def to_json(self) -> dict[str, Any]:
        """As plain data, its format named first. No word of it says who the patient is."""
        return {"format": COMPARISON_FORMAT, **dataclasses.asdict(self)}


def compare_hands(learner: Record, supervisor: Record, region: Region) -> HandsCompared:
    """Place by place what two examiners found; UserError where they are of different regions."""
    if not learner.region == supervisor.region == region.id:
        raise UserError("the records", f"{learner.region} and {supervisor.region}",
                        f"two of {region.id}")  # fmt: skip
    protocol, tables = protocol_of(region), tables_of(region)
    mine, theirs = _settled(learner), _settled(supervisor)
    numbers = [{(m.item, m.side, m.mode): m for m in measurements(one, protocol)}
               for one in (learner, supervisor)]  # fmt: skip
    places = tuple(
        _compared(place, protocol, mine.get(place), theirs.get(place), numbers, tables)
        for place in sorted({*mine, *theirs}, key=lambda one: _order(one, protocol))
    )
    again = _to_look_at_again(places)
    return HandsCompared(
        region.id,
        places,
        exchanged_items(places),
        "" if again is None else _again_words(again),
        "" if again is None else protocol.item(again.item).how,
        tuple(_left_out(protocol, mine, theirs)),
    )


def _settled(record: Record) -> dict[Place, tuple[Finding, ...]]:
    """What was examined, by place; what is in conflict, or could not be done, is not there."""
    found = {}
    for place, findings in record.settled.items():
        seen = tuple(one for one in findings if one.value is not None)
        if seen:
            found[place] = seen
    return found


def _order(place: Place, protocol: Protocol) -> tuple[int, str, str]:
    item, side, mode = place
    return protocol.order[item], mode or "", side


def _compared(
    place: Place,
    protocol: Protocol,
    mine: tuple[Finding, ...] | None,
    theirs: tuple[Finding, ...] | None,
    numbers: list[dict[Place, Measurement]],
    tables: MeasurementTables,
) -> FindingCompared:
    item, side, mode = place
    known = protocol.item(item)
    here = FindingCompared(
        item, known.label, side, mode or "", _words(mine, known), _words(theirs, known), ""
    )
    if mine is None or theirs is None:
        verdict = YOU_LEFT_OUT if mine is None else THEY_LEFT_OUT
        return dataclasses.replace(here, verdict=verdict)
    own, other = (found.get(place) for found in numbers)
    if own is not None and other is not None and own.quantity == other.quantity:
        return _numbers_compared(here, own, other, tables)
    verdict = SAME if _values(mine) == _values(theirs) else UNLIKE
    return dataclasses.replace(here, verdict=verdict, **_known_agreement(item, tables))


def _words(found: tuple[Finding, ...] | None, item: Item) -> str:
    return "; ".join(
        kind_of(one.value).phrase(one.value, item.kind(one.value.kind))
        for one in found or ()
        if one.value is not None
    )


def _values(found: tuple[Finding, ...]) -> list[str]:
    return sorted(one.value.model_dump_json(by_alias=True) for one in found if one.value)


def _numbers_compared(
    here: FindingCompared, own: Measurement, other: Measurement, tables: MeasurementTables
) -> FindingCompared:
    difference = own.number - other.number
    used = [
        error_for(
            Wanted(m.quantity, m.item, m.mode, m.instrument or "eye", "between"), tables,
            own_sd=m.own_sd,
        )
        for m in (own, other)
    ]  # fmt: skip
    if used[0] is None or used[1] is None:
        verdict = SAME if difference == 0 else NO_ERROR
        return dataclasses.replace(here, verdict=verdict, difference=difference, unit=own.unit,
                                   numbers=(own.number, other.number))  # fmt: skip
    level = (own.number + other.number) / 2
    sems = [one.scaled(level).of_one for one in used if one is not None]
    test = change_test(other.number, own.number, sems[0], sems[1],
                       _between_instruments(own, other, tables))  # fmt: skip
    verdict = SAME if difference == 0 else BEYOND if test.real else WITHIN
    return dataclasses.replace(
        here, verdict=verdict, difference=difference, threshold=test.threshold, unit=own.unit,
        numbers=(own.number, other.number),
        sources=tuple(dict.fromkeys(one.row.cited() for one in used if one)),
        cautions=tuple(dict.fromkeys(c for one in used if one for c in one.cautions)),
    )  # fmt: skip


def _between_instruments(own: Measurement, other: Measurement, tables: MeasurementTables) -> float:
    if own.instrument == other.instrument:
        return 0.0
    row = instrument_disagreement(
        own.quantity, own.item, str(own.instrument), str(other.instrument), tables
    )
    return 0.0 if row is None else row.needed("limits") / Z95


def _known_agreement(item: str, tables: MeasurementTables) -> dict[str, Any]:
    """How well two examiners are known to agree on an item: the lowest that is published."""
    rows = [
        row for row in tables.usable("agreement")
        if item in row.several("item") and row.text("statistic") == "kappa"
        and row.number("value_low") is not None
    ]  # fmt: skip
    if not rows:
        return {}
    row = min(rows, key=lambda one: one.needed("value_low"))
    low, high = row.needed("value_low"), row.number("value_high")
    share = f"{low:g}" if high in (None, low) else f"{low:g} to {high:g}"
    return {"known": f"two examiners agree beyond chance {share} (kappa), {row.text('what')}",
            "sources": (row.cited(),)}  # fmt: skip


def _to_look_at_again(places: tuple[FindingCompared, ...]) -> FindingCompared | None:
    """The place furthest beyond what error explains; else the first sign that differs."""
    beyond = [one for one in places if one.verdict == BEYOND and one.difference and one.threshold]
    if beyond:
        return max(beyond, key=lambda one: abs(one.difference or 0) / (one.threshold or 1))
    return next((one for one in places if one.verdict == UNLIKE), None)


def _again_words(one: FindingCompared) -> str:
    where = ", ".join(filter(None, (one.label, one.mode, one.side.replace("midline", ""))))
    words = f"Do it once more together: {where}. Student {one.yours}, supervisor {one.theirs}"
    if one.difference is None:
        return f"{words}."
    return (
        f"{words}: {number_with_unit(abs(one.difference), WORDS[one.unit])} apart, where error "
        f"alone seldom makes more than {one.threshold:.0f}."
    )


def _left_out(
    protocol: Protocol, mine: Mapping[Place, object], theirs: Mapping[Place, object]
) -> Iterator[str]:
    """Items that the supervisor examined and the learner did not, by label; each once."""
    done = {item for item, _, _ in mine}
    yield from dict.fromkeys(protocol.item(item).label for item, _, _ in theirs if item not in done)
