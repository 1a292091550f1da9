"""What is usual at this age and sex: each published table separately, nothing extrapolated."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from sidewise.ground.interval import NORMAL
from sidewise.measure.norms.tables import MeasurementRow, MeasurementTables
from sidewise.measure.sides.readings import Measurement, measurements
from sidewise.protocol import Protocol
from sidewise.record import Record

QUANTILES = (
    ("p05", 5),
    ("p10", 10),
    ("p25", 25),
    ("median", 50),
    ("p75", 75),
    ("p90", 90),
    ("p95", 95),
)


@dataclass(frozen=True, slots=True)
class NormPosition:
    """Where a number stands in a table: z and percentile where the table has a spread."""

    z: float | None
    percentile: float | None
    words: str


@dataclass(frozen=True, slots=True)
class NormComparison:
    """One measurement compared with one published table."""

    item: str
    mode: str | None
    side: str
    number: float
    unit: str
    usual: float | None
    sd: float | None
    z: float | None
    percentile: float | None
    sentence: str
    cautions: tuple[str, ...]
    source: str
    mark: str


def norms_for(
    record: Record, protocol: Protocol, tables: MeasurementTables
) -> tuple[NormComparison, ...]:
    """Every measurement and scale total of a record compared with every table for it."""
    context = record.context
    moved = [
        comparison
        for m in measurements(record, protocol)
        for comparison in compare_with_norms(m, context.age, context.sex, context.dominant, tables)
    ]
    totals = [
        comparison
        for measure, number in context.scales.items()
        for comparison in compare_total(measure, number, context.age, context.sex, tables)
    ]
    return (*moved, *totals)


def compare_total(
    measure: str, number: float, age: float | None, sex: str | None, tables: MeasurementTables
) -> tuple[NormComparison, ...]:
    """A scale's total against each table of healthy people; a fall with age is no disease."""
    m = Measurement(measure, measure.replace("_", " "), "both", None, "score", number, None, "")
    rows = [
        row
        for row in tables.usable_of("strength_norms", measure)
        if row.text("sex") in (sex, "both")
    ]
    return tuple(c for table in _by_table(rows) for c in _in_table(m, table, age, None))


def compare_with_norms(
    m: Measurement,
    age: float | None,
    sex: str | None,
    dominant: str | None,
    tables: MeasurementTables,
) -> tuple[NormComparison, ...]:
    """One number compared with each table; outside a table's ages, only that is stated."""
    rows = [row for row in tables.usable_of("norms", m.item)
            if row.text("unit") == m.unit and row.text("mode") in (m.mode, "not stated")
            and row.text("sex") in (sex, "both")]  # fmt: skip
    return tuple(c for table in _by_table(rows) for c in _in_table(m, table, age, dominant))


def norm_position(number: float, row: MeasurementRow) -> NormPosition:
    """Where `number` stands in one row of a table.

    With a mean and an SD: z = (number - mean) / sd and the normal percentile 100 Phi(z). With
    printed percentiles: linear between them, and only "below" or "above" beyond the outermost.
    With a single figure: above or below it. Where a smaller number is the better one (a distance)
    the percentile counts from the stiff end, as the table does.
    """
    mean, sd = row.number("mean"), row.number("sd")
    if mean is not None and sd:
        z = (number - mean) / sd
        z = -z if row.text("better") == "lower" else z
        percentile = 100 * NORMAL.cdf(z)
        return NormPosition(z, percentile, f"z {z:.1f}, percentile {_ordinal(percentile)}")
    known = [(float(row.text(name)), at) for name, at in QUANTILES if row.text(name)]
    if len(known) > 1:
        return _between_quantiles(number, known, row.text("better") == "lower")
    usual = mean if mean is not None else known[0][0]
    return NormPosition(
        None, None, f"{_beside(number, usual)} the usual {usual:g}; no spread printed"
    )


def _between_quantiles(
    number: float, known: list[tuple[float, int]], lower_better: bool
) -> NormPosition:
    sign = -1 if lower_better else 1
    values = np.array([sign * value for value, _ in known])
    at = np.array([percent for _, percent in known], float)
    if sign * number < values[0]:
        return NormPosition(None, None, f"below the {at[0]:.0f}th percentile")
    if sign * number > values[-1]:
        return NormPosition(None, None, f"above the {at[-1]:.0f}th percentile")
    # Where several printed percentiles share one value the middle of them is taken.
    tied = at[np.isclose(values, sign * number)]
    percentile = float(tied.mean()) if tied.size else float(np.interp(sign * number, values, at))
    return NormPosition(None, percentile, f"about the {percentile:.0f}th percentile")


def _by_table(rows: Iterable[MeasurementRow]) -> Iterator[list[MeasurementRow]]:
    tables: dict[tuple[str, ...], list[MeasurementRow]] = {}
    for row in rows:
        key = (row.source, row.text("mode"), row.text("instrument"), row.text("kind"))
        tables.setdefault(key, []).append(row)
    yield from tables.values()


def _in_table(
    m: Measurement, table: list[MeasurementRow], age: float | None, dominant: str | None
) -> Iterator[NormComparison]:
    ages = [row for row in table if age is not None and _age_fits(row, age)]
    if not ages:
        yield _outside(m, table, age)
        return
    sided = [row for row in ages if _side_fits(row, m.side, dominant)] or [
        row for row in ages if row.text("side") in ("right", "left")
    ]
    yield from (_compared(m, row) for row in sorted(sided, key=_breadth)[:1])


def _breadth(row: MeasurementRow) -> tuple[bool, bool, float]:
    # A row for one side, one sex, few ages says more than one for all of them together.
    ages = (row.number("age_high") or 120.0) - (row.number("age_low") or 0.0)
    return (row.text("side") == "both", row.text("sex") == "both", ages)


def _age_fits(row: MeasurementRow, age: float) -> bool:
    low, high = row.number("age_low"), row.number("age_high")
    return (low is None or low <= age) and (high is None or age < high + 1)


def _side_fits(row: MeasurementRow, side: str, dominant: str | None) -> bool:
    named = row.text("side")
    if named == "both" or named == side:
        return True
    if named in ("dominant", "nondominant") and dominant in ("left", "right"):
        return (named == "dominant") == (side == dominant)
    return False


def _compared(m: Measurement, row: MeasurementRow) -> NormComparison:
    place = norm_position(m.number, row)
    usual = row.number("mean") if row.text("mean") else row.number("median")
    sentence = f"{_what(m)}: {m.shown} {m.unit}; {place.words} ({_who(row)}; {row.source})."
    return NormComparison(
        m.item,
        m.mode,
        m.side,
        m.number,
        m.unit,
        usual,
        row.number("sd"),
        place.z,
        place.percentile,
        sentence,
        tuple(_cautions(m, row)),
        row.cited("figure_mark"),
        row.mark,
    )


def _outside(m: Measurement, table: list[MeasurementRow], age: float | None) -> NormComparison:
    first = table[0]
    why = (
        "age not recorded" if age is None else f"age {age:g} lies outside its ages ({_ages(table)})"
    )
    what = _what(m)
    sentence = f"{what}: not compared with {first.source}: {why}."
    return NormComparison(
        m.item,
        m.mode,
        m.side,
        m.number,
        m.unit,
        None,
        None,
        None,
        None,
        sentence,
        ("Outside the table's ages nothing is extrapolated.",),
        first.cited("figure_mark"),
        first.mark,
    )


def _cautions(m: Measurement, row: MeasurementRow) -> Iterator[str]:
    if row.mark == "memory":
        yield "The table is recalled, not read: verify before relying on it."
    if row.text("mode") == "not stated":
        yield "The table does not say whether movement was active or passive."
    if row.text("kind") != "healthy sample":
        yield f"The table's people: {row.text('kind')}."
    if row.text("instrument") and m.instrument and row.text("instrument") != m.instrument:
        yield f"The table was measured by {row.text('instrument')}, this by {m.instrument}."
    if row.text("side") not in ("both", m.side, "dominant", "nondominant"):
        yield f"The table is of the {row.text('side')} side."
    if row.text("note").startswith("Second-hand"):
        yield "Second-hand copy of the printed table."


def _who(row: MeasurementRow) -> str:
    sex = {"male": "men", "female": "women"}.get(row.text("sex"), "men and women")
    return f"{sex} {_ages([row])}"


def _ages(rows: list[MeasurementRow]) -> str:
    lows = [number for row in rows if (number := row.number("age_low")) is not None]
    highs = [row.number("age_high") for row in rows]
    known = [high for high in highs if high is not None]
    top = f"to {max(known):g}" if len(known) == len(highs) else "and over"
    return f"{min(lows):g} {top}" if lows else "all ages"


def _beside(number: float, usual: float) -> str:
    return "equal to" if number == usual else "above" if number > usual else "below"


def _ordinal(percentile: float) -> str:
    if percentile < 1:
        return "under 1"
    return "over 99" if percentile > 99 else f"{percentile:.0f}"


def _what(m: Measurement) -> str:
    mode = f", {m.mode}" if m.mode else ""
    whose = "" if m.side == "both" else f"{m.side} "
    return f"Patient's {whose}{m.label}{mode}"
