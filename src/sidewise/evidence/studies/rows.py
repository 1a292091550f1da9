"""Accuracy rows: each is a study's figures for one reading against one target, checked.

A row is refused without a source, without exactly one mark for each figure, when its counts do
not add up, when it claims to be used and has no reading, no target or no figures, and when it is
not used and does not say why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Literal, cast

from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import Conditions, conditions_of
from sidewise.evidence.studies.counts import count_from_share, counts_agree
from sidewise.ground.tables import (
    Cells,
    count_cell,
    number_cell,
    probability_cell,
    provenance_mark_cell,
)
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of

Use = Literal["fit", "display", "left out"]
USES = ("fit", "display", "left out")


@dataclass(frozen=True, slots=True)
class Levels:
    """A condition held to some of its levels (0 is none); `alone`: every other condition absent."""

    condition: str
    levels: tuple[int, ...]
    alone: bool = False


@dataclass(frozen=True, slots=True)
class NamedGroup:
    """A comparison group with a name: who was in it, and, where printed, how many were positive."""

    who: Levels | None
    positive: int | None = None
    size: int | None = None


@dataclass(frozen=True, slots=True)
class Figure:
    """A printed (or worked out) share with its mark."""

    value: float
    mark: str


@dataclass(frozen=True, slots=True)
class AccuracyRow:
    """One accuracy row. `rest` empty: the rest of the setting's patients are the comparison."""

    id: str
    reading: str
    condition_printed: str
    manoeuvre: str
    positive_means: str
    target: Levels | None
    also: Levels | None
    rest: tuple[NamedGroup, ...]
    groups: str
    case_mix: str
    series: str
    study: str
    year: str
    journal: str
    n: str
    tp: int | None
    fp: int | None
    fn: int | None
    tn: int | None
    sensitivity: Figure | None
    specificity: Figure | None
    diseased: int | None
    others: int | None
    sizes_mark: str
    mark: str
    weight: float
    weight_why: str
    use: Use
    why_not: str
    reference_standard: str
    setting: str
    have: str
    note: str

    @property
    def source(self) -> str:
        """The study as it is cited on screen."""
        journal = f", {self.journal}" if self.journal else ""
        return f"{self.study} {self.year}{journal}"

    @property
    def positive_diseased(self) -> int | None:
        """Positives among those with the target condition."""
        if self.tp is not None:
            return self.tp
        if self.sensitivity is None or not self.diseased:
            return None
        return count_from_share(self.sensitivity.value, self.diseased)

    @property
    def positive_others(self) -> int | None:
        """Positives among the comparison group."""
        if self.fp is not None:
            return self.fp
        if self.specificity is None or not self.others:
            return None
        return self.others - count_from_share(self.specificity.value, self.others)


@dataclass(frozen=True)
class AccuracyRows:
    """All accuracy rows of a region."""

    rows: tuple[AccuracyRow, ...]

    @cached_property
    def fitted(self) -> tuple[AccuracyRow, ...]:
        """Those the network is fitted to."""
        return tuple(row for row in self.rows if row.use == "fit")

    @cached_property
    def by_reading(self) -> Mapping[str, tuple[AccuracyRow, ...]]:
        """Rows of each reading that has any, whatever their use."""
        found: dict[str, list[AccuracyRow]] = {}
        for row in self.rows:
            if row.reading:
                found.setdefault(row.reading, []).append(row)
        return {reading: tuple(mine) for reading, mine in found.items()}

    @cached_property
    def by_id(self) -> Mapping[str, AccuracyRow]:
        """Rows by id."""
        return {row.id: row for row in self.rows}


def parse_levels(text: str, conditions: Conditions, place: str) -> Levels:
    """`cuff:2,3`, or `alone cuff:2,3`; UserError where the condition or a level is unknown."""
    alone = text.startswith("alone ")
    name, _, tail = text.removeprefix("alone ").partition(":")
    known = conditions.by_id.get(name)
    numbers = tuple(int(part) for part in tail.split(",") if part.strip().isdigit())
    if known is None or known.flag_only or not numbers or max(numbers) >= len(known.levels):
        raise UserError(place, text, "a condition of the network and its levels, as cuff:2,3")
    return Levels(name, numbers, alone)


def _named_group(text: str, conditions: Conditions, place: str) -> NamedGroup:
    who, _, counts = text.partition("=")
    levels = None if who == "healthy" else parse_levels(who, conditions, place)
    if not counts:
        return NamedGroup(levels)
    positive, _, size = counts.partition("/")
    if not (positive.isdigit() and size.isdigit() and int(positive) <= int(size)):
        raise UserError(place, text, "positives out of the group, as 7/48")
    return NamedGroup(levels, int(positive), int(size))


def parse_row(cells: Cells, conditions: Conditions) -> AccuracyRow:
    """One line of the table as a Row; UserError names the row and the cell."""
    place = f"accuracy.csv {cells['row']}"
    optional = {
        name: parse_levels(cells[name], conditions, f"{place}.{name}") if cells[name] else None
        for name in ("target", "also")
    }
    rest = [part.strip() for part in cells["rest"].split(";") if part.strip()]
    row = AccuracyRow(
        id=cells["row"],
        reading=cells["reading"],
        condition_printed=cells["condition"],
        manoeuvre=cells["manoeuvre"],
        positive_means=cells["positive_means"],
        target=optional["target"],
        also=optional["also"],
        rest=tuple(_named_group(part, conditions, f"{place}.rest") for part in rest),
        groups=cells["groups"],
        case_mix=cells["case_mix"],
        series=cells["series"],
        study=cells["study"],
        year=cells["year"],
        journal=cells["journal"],
        n=cells["n"],
        **{name: count_cell(cells, name, place) for name in ("tp", "fp", "fn", "tn")},
        sensitivity=_figure(cells, "sens", place),
        specificity=_figure(cells, "spec", place),
        diseased=count_cell(cells, "n_diseased", place),
        others=count_cell(cells, "n_nondiseased", place),
        sizes_mark=cells["sizes_mark"],
        mark=provenance_mark_cell(cells, "mark", place),
        weight=number_cell(cells, "weight", place) or 1.0,
        weight_why=cells["weight_why"],
        use=cast("Use", cells["use"]),
        why_not=cells["why_not"],
        reference_standard=cells["reference_standard"],
        setting=cells["setting"],
        have=cells["have"],
        note=cells["note"],
    )
    _check(row, place)
    return row


def _figure(cells: Cells, stem: str, place: str) -> Figure | None:
    value = probability_cell(cells, f"{stem}_used", place)
    return (
        None if value is None else Figure(value, provenance_mark_cell(cells, f"{stem}_mark", place))
    )


def _check(row: AccuracyRow, place: str) -> None:
    if not (row.study and row.year and row.have):
        raise UserError(f"{place}.study", row.study, "a study, its year and its mark")
    if row.use not in USES:
        raise UserError(f"{place}.use", row.use, f"one of {', '.join(USES)}")
    if not row.reading and not row.why_not:
        raise UserError(f"{place}.reading", None, "a reading, or a reason in why_not")
    if row.use != "fit" and not row.why_not:
        raise UserError(f"{place}.why_not", None, f"why a row is {row.use}")
    _check_counts(row, place)
    if row.use == "fit":
        _check_fit(row, place)


def _check_counts(row: AccuracyRow, place: str) -> None:
    table = (("diseased", row.tp, row.fn), ("others", row.tn, row.fp))
    shares = (row.sensitivity, row.specificity)
    for (group, right, wrong), figure in zip(table, shares, strict=True):
        if right is None or wrong is None:
            continue
        if not counts_agree(figure.value if figure else None, right, right + wrong):
            got = f"{right} of {right + wrong}, printed {figure.value if figure else ''}"
            raise UserError(f"{place}.{group}", got, "counts that give the printed share back")
    cells = (row.tp, row.fp, row.fn, row.tn)
    total = sum(cell for cell in cells if cell is not None)
    if None not in cells and row.n.isdigit() and total > int(row.n) * 1.2:
        # Some papers count joints and print patients; a fifth more is allowed.
        raise UserError(f"{place}.n", row.n, f"at least the {total} people in its cells")


def _check_fit(row: AccuracyRow, place: str) -> None:
    if not row.reading or row.target is None:
        raise UserError(f"{place}.target", None, "a reading and a target for a row to be fitted")
    if row.positive_diseased is None and row.positive_others is None:
        raise UserError(f"{place}.sensitivity", None, "a figure with the size of its group")
    if row.groups not in ("both", "diseased", "rest"):
        raise UserError(f"{place}.groups", row.groups, "both, diseased or rest")
    if not 0 < row.weight <= 1 or (row.weight < 1) != bool(row.weight_why):
        raise UserError(f"{place}.weight", row.weight, "1, or a part of it and why in weight_why")
    if not row.sizes_mark:
        raise UserError(f"{place}.sizes_mark", None, "how the sizes of the groups are known")


def parse_rows(table: list[Cells], conditions: Conditions, readings: set[str]) -> AccuracyRows:
    """Every line; all complaints at once (UserErrors), an unknown reading among them."""
    rows, errors = [], []
    for cells in table:
        try:
            row = parse_row(cells, conditions)
            if row.reading and row.reading not in readings:
                raise UserError(f"accuracy.csv {row.id}.reading", row.reading, "a known reading")
            rows.append(row)
        except UserError as error:
            errors.append(error)
    if errors:
        raise UserErrors(errors)
    return AccuracyRows(tuple(rows))


def accuracy_rows_of(region: Region) -> AccuracyRows:
    """The accuracy rows of a region; UserErrors with every row that cannot be used."""
    return region.view(_rows)


def _rows(region: Region) -> AccuracyRows:
    readings = {reading.id for reading in protocol_of(region).readings}
    return parse_rows(region.part("accuracy"), conditions_of(region), readings)
