"""Left against right in one examination: what is real, what is error, what cannot be judged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sidewise.ground.interval import Interval
from sidewise.measure.norms.tables import MeasurementRow, MeasurementTables
from sidewise.measure.sides.errors_used import ErrorUsed, Wanted, error_for
from sidewise.measure.sides.readings import WORDS, Measurement, measurements, number_with_unit
from sidewise.measure.sides.side_difference import (
    DifferenceTest,
    HealthySpread,
    ReadingError,
    cautious_difference_test,
    difference_test,
)
from sidewise.protocol import Protocol
from sidewise.record import Record

Rows = tuple[MeasurementRow, ...]


@dataclass(frozen=True, slots=True)
class SideDifference:
    """Left minus right for one movement; `real` is None where it cannot be judged, never "no".

    `band`: the differences that do not count as real, from low to high. `threshold`: its edge in
    the direction seen. `error`: what the error of measuring alone asks for.
    """

    item: str
    label: str
    mode: str | None
    instrument: str | None
    unit: str
    left: float
    right: float
    left_shown: str
    right_shown: str
    difference: float
    sentence: str
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    threshold: float | None = None
    error: float | None = None
    band: Interval | None = None
    real: bool | None = None
    probability: float | None = None
    clinical: float | None = None
    clinical_probability: float | None = None
    yardstick: str | None = None


@dataclass(frozen=True, slots=True)
class HealthyUsed:
    """The healthy spread used, as left minus right, and its cautions."""

    spread: HealthySpread
    sure_of_side: bool
    row: MeasurementRow
    cautions: tuple[str, ...]


def side_differences(
    record: Record, protocol: Protocol, tables: MeasurementTables
) -> tuple[SideDifference, ...]:
    """Every movement measured on both sides in the same mode with the same instrument."""
    pairs = side_pairs(measurements(record, protocol))
    return tuple(compare_sides(left, right, record, tables) for left, right in pairs)


def side_pairs(found: tuple[Measurement, ...]) -> Iterator[tuple[Measurement, Measurement]]:
    """Left and right of the same item, mode, quantity and instrument, in the order given."""
    rights = {_way(m): m for m in found if m.side == "right"}
    for left in found:
        if left.side == "left" and _way(left) in rights:
            yield left, rights[_way(left)]


def compare_sides(
    left: Measurement, right: Measurement, record: Record, tables: MeasurementTables
) -> SideDifference:
    """One left and one right reading held against each other."""
    instrument = left.instrument or "eye"
    examiners = "within" if left.examiner == right.examiner else "between"
    wanted = Wanted(left.quantity, left.item, left.mode, instrument, examiners)
    own = max(left.own_sd or 0.0, right.own_sd or 0.0)
    used = error_for(wanted, tables, own_sd=own)
    healthy = healthy_spread(left, record.context.dominant, tables)
    cautions = tuple(_cautions(left, right, used, healthy, record))
    clinical_row = _clinical_row(left, tables)
    if used is None or healthy is None or clinical_row is None:
        return _found(left, right, NO_ERROR, cautions, ())
    clinical = _scaled(clinical_row.needed("threshold"), left, (left.number + right.number) / 2)
    if not (record.is_yardstick("left") or record.is_yardstick("right")):
        return _found(left, right, NO_YARDSTICK, cautions, (used.row,))
    test = _test(left, right, used, healthy, clinical)
    rows = (used.row, healthy.row, clinical_row)
    return _judged(
        _found(left, right, _verdict(left, test), cautions, rows), test, clinical, record
    )


def healthy_spread(
    m: Measurement, dominant: str | None, tables: MeasurementTables
) -> HealthyUsed | None:
    """Healthy differences for a movement: its own row, else the one for any movement."""
    rows = [row for row in tables.usable("side_difference") if row.text("kind") == "healthy"
            and row.text("quantity") == m.quantity]  # fmt: skip
    own = [row for row in rows if m.item in row.several("items")]
    row = next(iter(own or [row for row in rows if row.text("items") == "any"]), None)
    if row is None:
        return None
    sign = -1.0 if dominant == "right" else 1.0
    spread = HealthySpread(sign * row.needed("mean"), row.needed("sd"))
    sure = dominant in ("left", "right") or not spread.mean
    return HealthyUsed(spread, sure, row, tuple(_healthy_cautions(row, m, bool(own), sure)))


def _healthy_cautions(row: MeasurementRow, m: Measurement, own: bool, sure: bool) -> Iterator[str]:
    if not own and m.quantity == "angle":
        yield (
            "Healthy differences: no spread published for this movement; that of rotations in "
            "young adults, pooled, is used (our judgement)."
        )
    elif own:
        ages = f", age {row.text('ages_printed')}" if row.text("ages_printed") else ""
        yield f"Healthy differences: from {row.text('population')}{ages}."
    if m.mode and m.mode not in row.several("modes"):
        yield f"Healthy differences: measured on {row.text('modes')} movement."
    if not sure:
        yield "Dominant side not recorded: only what is real whichever it is counts."


def _test(
    left: Measurement, right: Measurement, used: ErrorUsed, healthy: HealthyUsed, clinical: float
) -> DifferenceTest:
    level = (left.number + right.number) / 2
    error: ReadingError = used.scaled(level)
    spread = HealthySpread(
        _scaled(healthy.spread.mean, left, level), _scaled(healthy.spread.sd, left, level)
    )
    run = difference_test if healthy.sure_of_side else cautious_difference_test
    return run(left.number, right.number, error, spread, clinical)


def _scaled(number: float, m: Measurement, level: float) -> float:
    # Healthy spread and threshold of a force are percentages of the mean of both sides.
    return number * max(abs(level), 1.0) / 100 if m.quantity == "force" else number


def _clinical_row(m: Measurement, tables: MeasurementTables) -> MeasurementRow | None:
    rows = [row for row in tables.usable("side_difference") if row.text("kind") == "clinical"
            and row.text("quantity") == m.quantity]  # fmt: skip
    own = [row for row in rows if m.item in row.several("items")]
    return next(iter(own or [row for row in rows if row.text("items") == "any"] or rows), None)


def _cautions(
    left: Measurement, right: Measurement, used: ErrorUsed | None, healthy: HealthyUsed | None,
    record: Record,
) -> Iterator[str]:  # fmt: skip
    if left.instrument is None:
        yield "Instrument not recorded: the error of a reading by eye, the largest, is used."
    if left.examiner != right.examiner:
        yield "The two sides were read by different examiners."
    if left.limited_by_pain or right.limited_by_pain:
        yield "Pain limited the effort: not weakness."
    if left.quantity == "level":
        yield "Spinal levels are a ladder, not degrees; the level felt is often one off."
    if not record.context.complaint:
        yield "Complaint side not recorded: both sides are taken as possible yardsticks."
    yield from used.cautions if used else ()
    yield from healthy.cautions if healthy else ()


def _found(
    left: Measurement, right: Measurement, sentence: str, cautions: tuple[str, ...], rows: Rows
) -> SideDifference:
    return SideDifference(
        item=left.item,
        label=left.label,
        mode=left.mode,
        instrument=left.instrument,
        unit=left.unit,
        left=left.number,
        right=right.number,
        left_shown=left.shown,
        right_shown=right.shown,
        difference=left.number - right.number,
        sentence=f"{_what(left)}: left {left.shown}, right {right.shown}{_unit(left)}. {sentence}",
        cautions=cautions,
        sources=tuple(row.cited() for row in rows),
    )


def _judged(
    found: SideDifference, test: DifferenceTest, clinical: float, record: Record
) -> SideDifference:
    yardsticks = [side for side in ("left", "right") if record.is_yardstick(side)]
    return replace(
        found,
        threshold=test.threshold,
        error=test.error_threshold,
        band=Interval(test.band_low, test.band_high),
        real=test.real,
        probability=test.probability,
        clinical=clinical,
        clinical_probability=test.clinical_probability,
        yardstick=yardsticks[0] if len(yardsticks) == 1 else None,
    )


NO_YARDSTICK = (
    "Neither side can serve as the yardstick (a complaint, operation or known tear on each): "
    "see the tables for the age instead."
)
NO_ERROR = "Not judged: no error of measurement is published for it."


def _verdict(m: Measurement, test: DifferenceTest) -> str:
    unit = WORDS[m.unit]
    size, limit = (
        number_with_unit(abs(test.difference), unit),
        number_with_unit(test.threshold, unit),
    )
    if not test.difference:
        return "No difference."
    gap = f"The {'left' if test.difference < 0 else 'right'} reads {size} less"
    if test.real:
        return f"{gap}: a real difference (up to {limit} may be error or health)."
    if test.beyond_error:
        return f"{gap}: more than error, but healthy sides differ by up to {limit}."
    return f"{gap}: within error (a real one is over {limit})."


def _what(m: Measurement) -> str:
    label = m.label[0].upper() + m.label[1:]
    return f"{label}, {m.mode}" if m.mode else label


def _unit(m: Measurement) -> str:
    return "" if m.quantity == "level" else f" {WORDS[m.unit]}"


def _way(m: Measurement) -> tuple[str, str | None, str, str | None]:
    return (m.item, m.mode, m.quantity, m.instrument)
