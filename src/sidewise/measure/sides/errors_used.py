"""Which published error belongs to a reading: a stated order of fallbacks, and what it costs."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from sidewise.measure.norms.tables import MeasurementRow, MeasurementTables
from sidewise.measure.sides.side_difference import ReadingError

STAND_INS = {
    "phone": ("inclinometer", "both read an inclination against gravity"),
    "photograph": ("eye", "no figure for photographs of this movement"),
}
"""Where an instrument has no usable row: what stands in, and why (our judgement)."""

NEARNESS = {"exact": 0, "position not stated": 1, "pooled": 2}
ANOTHER_MOVEMENT = 3


@dataclass(frozen=True, slots=True)
class Wanted:
    """What was measured, how and by whom: `examiners` is within (one) or between (two)."""

    quantity: str
    item: str
    mode: str | None
    instrument: str
    examiners: str = "within"


@dataclass(frozen=True, slots=True)
class ErrorUsed:
    """The error used for a reading, in its own unit, with its row and its cautions."""

    error: ReadingError
    unit: str
    row: MeasurementRow
    cautions: tuple[str, ...]

    def scaled(self, level: float) -> ReadingError:
        """The error in the reading's unit; a percentage is taken of `level`, the mean reading."""
        if self.unit != "percent":
            return self.error
        # Below 1 N a percentage would promise more than any device gives.
        return ReadingError(self.error.sem * max(abs(level), 1.0) / 100, self.error.of_difference)


def error_for(
    wanted: Wanted, tables: MeasurementTables, *, own_sd: float | None = None
) -> ErrorUsed | None:
    """The error of one reading of `wanted`, or None where nothing published can serve.

    Rows of the instrument are taken in this order: the same movement; the movement with its
    position or plane not stated; pooled over movements; another movement, but not for a length;
    then an instrument that stands in. Within one step the wanted examiners (one, two) come first,
    then the same mode, then patients before healthy people, and of equals the largest error (the
    cautious choice).
    Everything given up is said in `cautions`. `own_sd` (photograph, sensor) is the reading's own
    uncertainty: it is a part of the error, so it only ever widens it.
    """
    rows = [row for row in tables.usable("error")
            if row.text("sem") and row.text("quantity") == wanted.quantity
            # Angles are read alike at any joint; a length's error is that of its own landmarks.
            and (wanted.quantity != "length" or _covers(row, wanted.item))]  # fmt: skip
    instrument, stood_in = wanted.instrument, ""
    while not (fitting := [row for row in rows if instrument in row.several("instrument")]):
        if instrument not in STAND_INS:
            return None
        instrument, why = STAND_INS[instrument]
        stood_in = (
            f"no usable figure for {wanted.instrument}: that for {instrument} is used ({why})"
        )
    row = min(fitting, key=_order(wanted))
    sem = max(row.needed("sem"), own_sd or 0.0)
    error = ReadingError(sem, row.text("of_difference") == "yes")
    return ErrorUsed(error, row.text("unit"), row, tuple(_given_up(wanted, row, stood_in)))


def instrument_disagreement(
    quantity: str, item: str, one: str, other: str, tables: MeasurementTables
) -> MeasurementRow | None:
    """The row with the limits of agreement between two instruments for a movement, or None."""
    rows = [
        row
        for row in tables.usable("error")
        if row.text("quantity") == quantity
        and row.text("examiners") == "between instruments"
        and {one, other} <= set(row.several("instrument"))
        and _covers(row, item)
    ]
    return min(rows, key=lambda row: (_nearness(row, item), -row.needed("limits")), default=None)


def _nearness(row: MeasurementRow, item: str) -> int:
    return NEARNESS[row.text("match")] if _covers(row, item) else ANOTHER_MOVEMENT


def _covers(row: MeasurementRow, item: str) -> bool:
    items = row.several("items")
    return item in items or items == ("any",)


def _order(wanted: Wanted) -> Callable[[MeasurementRow], tuple[int, int, int, int, float]]:
    def distance(row: MeasurementRow) -> tuple[int, int, int, int, float]:
        return (
            _nearness(row, wanted.item),
            int(not _same_examiners(row, wanted)),
            int(wanted.mode not in row.several("modes")),
            int(row.text("population") == "healthy"),
            -ReadingError(row.needed("sem"), row.text("of_difference") == "yes").of_side_difference,
        )

    return distance


def _same_examiners(row: MeasurementRow, wanted: Wanted) -> bool:
    return row.text("examiners") in (wanted.examiners, "within and between")


HOW_FAR = {
    1: "movement named without its position or plane",
    2: "pooled over movements",
    3: "another movement",
}


def _given_up(wanted: Wanted, row: MeasurementRow, stood_in: str) -> Iterable[str]:
    if stood_in:
        yield f"Error: {stood_in}."
    if far := _nearness(row, wanted.item):
        yield f"Error: no figure for this very movement; the nearest is used ({HOW_FAR[far]})."
    if not _same_examiners(row, wanted):
        wider = "wider" if row.text("examiners") == "between" else "narrower"
        got = WHO.get(row.text("examiners"), row.text("examiners"))
        yield f"Error: no figure {WHO[wanted.examiners]}; that {got} is used, usually {wider}."
    if wanted.mode and wanted.mode not in row.several("modes"):
        modes = " and ".join(row.several("modes"))
        yield f"Error: measured on {modes} movement, used for {wanted.mode}."
    if row.text("population") == "healthy":
        yield "Error: from healthy people; in painful ones it is larger."


WHO = {"within": "for one examiner", "between": "between two examiners"}
