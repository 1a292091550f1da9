"""Totals of pain and function scales as numbers: detectable change and important change, apart."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.ground.interval import Z90, Z95
from sidewise.measure.norms.tables import MeasurementRow, MeasurementTables
from sidewise.protocol.model import nearest_names


@dataclass(frozen=True, slots=True)
class FigureRange:
    """The lowest and highest of several published figures."""

    low: float
    high: float

    @property
    def shown(self) -> str:
        """One number where they agree, else from-to."""
        low, high = f"{self.low:.1f}".removesuffix(".0"), f"{self.high:.1f}".removesuffix(".0")
        return low if low == high else f"{low} to {high}"


@dataclass(frozen=True, slots=True)
class ScaleChange:
    """Change of a total; `real` is None where no detectable change is published."""

    measure: str
    label: str
    before: float
    after: float
    change: float
    better: bool | None
    detectable: FigureRange | None
    important: FigureRange | None
    real: bool | None
    sentence: str
    cautions: tuple[str, ...]
    sources: tuple[str, ...]


def scale_change(
    measure: str, before: float, after: float, tables: MeasurementTables
) -> ScaleChange:
    """Whether the total `measure` changed beyond error (MDC95) and by an important step (MCID).

    The two answer different questions and are never merged: MDC asks whether one patient changed
    at all, MCID how much change patients call worthwhile on average. All usable published figures
    count; `real` needs the largest MDC95. A printed MDC90 is multiplied by 1.96 / 1.645. UserError
    for an unknown scale or a total outside it.
    """
    rows = scale_rows(measure, tables)
    for place, number in (("before", before), ("after", after)):
        check_total(f"{measure}, {place}", number, rows[0])
    detectable, important = scale_mdc95(rows), _important_change(rows)
    change = after - before
    real = None if detectable is None else abs(change) > detectable.high
    better = None if not change else (change > 0) == (rows[0].text("better") == "higher")
    label = rows[0].text("label")
    return ScaleChange(
        measure,
        label,
        before,
        after,
        change,
        better,
        detectable,
        important,
        real,
        _sentence(label, before, after, better, real, detectable, important),
        tuple(_cautions(detectable, important, rows)),
        tuple(row.cited() for row in rows if row.usable),
    )


def scale_rows(measure: str, tables: MeasurementTables) -> tuple[MeasurementRow, ...]:
    """Every row of a scale; UserError with the nearest names for one that is not in the table."""
    rows = tuple(
        row
        for row in tables.change
        if row.text("kind") == "scale" and row.text("measure") == measure
    )
    if not rows:
        known = {row.text("measure"): row for row in tables.change if row.text("kind") == "scale"}
        raise UserError(
            f"scales.{measure}",
            measure,
            f"one of {', '.join(sorted(known))}",
            nearest_names(measure, known).replace(
                "See `sidewise sources` for the list of items.", ""
            ),
        )
    return rows


def check_total(where: str, number: float, row: MeasurementRow) -> None:
    """UserError where a total lies outside its scale."""
    low, high = row.needed("low"), row.needed("high")
    if not low <= number <= high:
        raise UserError(
            where,
            number,
            f"{row.text('label')} from {low:g} to {high:g}",
            "Check the scale and the decimal point.",
        )


def scale_mdc95(rows: tuple[MeasurementRow, ...]) -> FigureRange | None:
    """The MDC95 of a scale over its usable rows; a printed MDC90 is converted."""
    found = [_mdc95(row) for row in rows if row.usable and row.text("mdc")]
    return FigureRange(min(found), max(found)) if found else None


def _mdc95(row: MeasurementRow) -> float:
    return row.needed("mdc") * (Z95 / Z90 if row.text("mdc_level") == "90" else 1.0)


def _important_change(rows: tuple[MeasurementRow, ...]) -> FigureRange | None:
    usable = [row for row in rows if row.usable and row.text("mcid_low")]
    if not usable:
        return None
    lows = [row.needed("mcid_low") for row in usable]
    return FigureRange(min(lows), max(row.needed("mcid_high") for row in usable))


def _cautions(
    detectable: FigureRange | None, important: FigureRange | None, rows: tuple[MeasurementRow, ...]
) -> list[str]:
    found = []
    if detectable and important and important.low < detectable.high:
        found.append(
            f"The important change ({important.shown}) is below the detectable change "
            f"({detectable.shown}): in one patient a change of that size may be error."
        )
    if any(
        row.usable and "memory" in (row.text("mdc_mark"), row.text("mcid_mark")) for row in rows
    ):
        found.append("Some of these thresholds are recalled, not read: verify.")
    if any(row.usable and "our judgement" in (row.text("mdc_mark"), row.text("mcid_mark"))
           for row in rows):  # fmt: skip
        found.append("Some of these thresholds are our judgement: none was read for this question.")
    if detectable is None:
        found.append("No detectable change is published for this scale here: real or not is open.")
    return found


def _sentence(
    label: str, before: float, after: float, better: bool | None, real: bool | None,
    detectable: FigureRange | None, important: FigureRange | None,
) -> str:  # fmt: skip
    head = f"{label[0].upper()}{label[1:]}: {before:g} to {after:g}. "
    if better is None:
        return head + "No change."
    size, way = abs(after - before), "better" if better else "worse"
    first = {True: "a real change", False: "within error for one patient", None: "not judged"}[real]
    parts = [f"{size:g} {way}: {first}"]
    if detectable:
        parts.append(f"detectable change {detectable.shown}")
    if important:
        reached = (
            "reaches"
            if size >= important.high
            else "is below"
            if size < important.low
            else "lies among"
        )
        parts.append(f"it {reached} the changes patients call important ({important.shown})")
    return head + "; ".join(parts) + "."
