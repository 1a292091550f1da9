"""Another's eyes: two clinicians' readings of one patient, place by place, against published error.

A number is held against the error of readings by two examiners; a sign, test or grade stands beside
what studies found of examiners' agreement on it (kappa). Neither says who of the two is right.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.measure.norms.tables import MeasurementRow, MeasurementTables, tables_of
from sidewise.measure.sides.errors_used import Wanted, error_for
from sidewise.measure.sides.readings import WORDS, Measurement, measurements
from sidewise.measure.visits.changes import change_test
from sidewise.note.phrases import place_phrase
from sidewise.protocol import Item, Protocol, protocol_of
from sidewise.reason.judging.called_for import places
from sidewise.record import Record

Alike = Literal["alike", "within error", "beyond error", "different", "one only"]
NEITHER = (
    "A difference tells how far two readings lie apart, not which of them is right: look again "
    "together."
)


@dataclass(frozen=True, slots=True)
class PlaceRead:
    """One place as each of the two read it.

    how: "alike" in words or number; "within error" and "beyond error" for numbers with a published
    error; "different" where the words differ or no error is published; "one only" where one of the
    two did not examine it. against: what is published, in a sentence.
    """

    label: str
    side: str
    first: str
    second: str
    how: Alike
    against: str
    sources: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class TwoReaders:
    """Two readings of one patient, with what was read by both and by one only."""

    patient: str
    readers: tuple[str, str]
    days_apart: int
    places: tuple[PlaceRead, ...]
    sentence: str
    cautions: tuple[str, ...]


def two_readers(first: Record, second: Record, region: Region) -> TwoReaders:
    """Both readings side by side, in the protocol's order.

    UserError for two patients, two regions, or one clinician twice: that is a course.
    """
    _check(first, second)
    protocol, tables = protocol_of(region), tables_of(region)
    compare = _Compare(first, second, protocol, tables)
    found = tuple(place for item in protocol.items for place in compare.item(item))
    days = abs((second.context.examined_at.date() - first.context.examined_at.date()).days)
    return TwoReaders(
        first.context.patient,
        (first.context.examiner, second.context.examiner),
        days,
        found,
        _sentence(found),
        tuple(_cautions(days, region)),
    )


def readers_of(record: Record) -> tuple[str, ...]:
    """Who examined in one record, the one who opened it first."""
    own = record.context.examiner
    others = (finding.examiner for finding in record.findings if finding.examiner)
    return tuple(dict.fromkeys((own, *others)))


def reading_by(record: Record, examiner: str) -> Record:
    """What one of them found, as a record of its own."""
    own = record.context.examiner
    kept = tuple(f for f in record.findings if (f.examiner or own) == examiner)
    context = record.context.model_copy(update={"examiner": examiner})
    return record.model_copy(update={"findings": kept, "context": context})


def _check(first: Record, second: Record) -> None:
    if first.context.patient != second.context.patient:
        raise UserError("the second reading", second.context.patient,
                        f"the patient of the first, {first.context.patient}")  # fmt: skip
    if first.region != second.region:
        raise UserError("the second reading", second.region, f"the region {first.region}")
    if first.context.examiner == second.context.examiner:
        raise UserError(
            "the second reading",
            f"by {second.context.examiner} again",
            "another clinician's",
            "For one clinician over time see the course.",
        )


@dataclass(frozen=True, slots=True)
class _Compare:
    first: Record
    second: Record
    protocol: Protocol
    tables: MeasurementTables

    def item(self, item: Item) -> Iterator[PlaceRead]:
        for side, mode in places(item):
            seen = [
                any(f.place == (item.id, side, mode) for f in one.findings)
                for one in (self.first, self.second)
            ]
            if any(seen):
                yield self._place(item, side, mode, both=all(seen))

    def _place(self, item: Item, side: str, mode: str | None, *, both: bool) -> PlaceRead:
        words = (
            place_phrase(self.first, item, side, mode),
            place_phrase(self.second, item, side, mode),
        )
        label = f"{item.label}, {mode}" if mode else item.label
        where = "" if side == "midline" else f"patient's {side}"
        how, against, sources = self._against(item, side, mode, words) if both else ONE_ONLY
        return PlaceRead(label, where, words[0], words[1], how, against, sources)

    def _against(
        self, item: Item, side: str, mode: str | None, words: tuple[str, ...]
    ) -> tuple[Alike, str, tuple[str, ...]]:
        examined = [one.examined(item.id, side, mode) for one in (self.first, self.second)]
        if not all(examined):
            return ONE_ONLY
        if pair := self._numbers(item, side, mode):
            return _by_error(*pair, self.tables)
        rows = [row for row in self.tables.usable("agreement") if row.text("item") == item.id]
        how: Alike = "alike" if words[0] == words[1] else "different"
        return how, _kappa_words(rows), tuple(row.cited() for row in rows)

    def _numbers(
        self, item: Item, side: str, mode: str | None
    ) -> tuple[Measurement, Measurement] | None:
        """The two numbers, where both read one quantity there."""
        by: list[dict[str, Measurement]] = [
            {m.quantity: m for m in measurements(one, self.protocol)
             if (m.item, m.side, m.mode) == (item.id, side, mode)}
            for one in (self.first, self.second)
        ]  # fmt: skip
        shared = [quantity for quantity in by[0] if quantity in by[1]]
        return (by[0][shared[0]], by[1][shared[0]]) if shared else None


ONE_ONLY: tuple[Alike, str, tuple[str, ...]] = ("one only", "", ())


def _by_error(
    one: Measurement, other: Measurement, tables: MeasurementTables
) -> tuple[Alike, str, tuple[str, ...]]:
    apart = abs(one.number - other.number)
    used = [
        error_for(
            Wanted(m.quantity, m.item, m.mode, m.instrument or "eye", "between"),
            tables,
            own_sd=m.own_sd,
        )
        for m in (one, other)
    ]
    unit = WORDS[one.unit]
    known = [error for error in used if error is not None]
    if len(known) < len(used):
        how: Alike = "different" if apart else "alike"
        return how, f"{apart:g} {unit} apart; no error of two examiners is published for it", ()
    sems = [error.scaled(m.number).of_one for error, m in zip(known, (one, other), strict=True)]
    test = change_test(one.number, other.number, *sems)
    ways = dict.fromkeys(m.instrument or "eye" for m in (one, other))
    said = (
        f"{apart:g} {unit} apart; two examiners of one unchanged patient lie up to "
        f"{test.threshold:.0f} apart in 95 of 100 ({' and '.join(ways)})"
    )
    given_up = dict.fromkeys(caution for error in known for caution in error.cautions)
    against = "; ".join((said, *given_up))
    how = "alike" if not apart else "beyond error" if test.real else "within error"
    return how, against, tuple(dict.fromkeys(error.row.cited() for error in known))


def _kappa_words(rows: list[MeasurementRow]) -> str:
    if not rows:
        return "no agreement of examiners is listed for it"
    low = min(row.needed("value_low") for row in rows)
    high = max(row.needed("value_high") for row in rows)
    shown = f"{low:.2f}" if low == high else f"{low:.2f} to {high:.2f}"
    studies = "1 study" if len(rows) == 1 else f"{len(rows)} studies"
    recalled = ", some recalled" if any(row.mark == "memory" for row in rows) else ""
    return f"agreement of examiners beyond chance (kappa) {shown}, {studies}{recalled}"


def _sentence(found: tuple[PlaceRead, ...]) -> str:
    both = [place for place in found if place.how != "one only"]
    counts = {how: sum(place.how == how for place in both)
              for how in ("alike", "within error", "beyond error", "different")}  # fmt: skip
    parts = [f"{number} {how}" for how, number in counts.items() if number]
    alone = len(found) - len(both)
    read = (
        f"{len(both)} places read by both: {', '.join(parts)}" if both else "no place read by both"
    )
    return f"{read}; {alone} by one only."


def _cautions(days: int, region: Region) -> Iterator[str]:
    yield NEITHER
    if days:
        spell = "1 day" if days == 1 else f"{days} days"
        yield f"The readings are {spell} apart: the patient may have changed meanwhile."
    yield from region.without("error", "agreement")
