"""The measurement tables of a region: rows read, checked once, refused without source or mark.

A table is data. What cannot be used stays in it with the reason, so that a reader can see what
was looked at and why it does not count.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from sidewise.errors import UserError, UserErrors
from sidewise.ground import tables as ground
from sidewise.ground.provenance import MARKS, ONE_MARK, Mark, Provenance
from sidewise.knowledge.manifest import BY_NAME
from sidewise.knowledge.region import Region

NAMES = ("norms", "strength_norms", "error", "side_difference", "change", "agreement")


@dataclass(frozen=True)
class MeasurementRow:
    """One row of a table: its id, its cells, and its provenance."""

    id: str
    cells: Mapping[str, str]

    @property
    def source(self) -> str:
        """The citation."""
        return self.cells["source"]

    @property
    def mark(self) -> str:
        """How the row was obtained: read, memory, common practice, our judgement or computed."""
        return self.cells["mark"]

    @property
    def usable(self) -> bool:
        """Whether the row may enter a calculation."""
        return self.cells["use"] == "yes"

    def text(self, name: str) -> str:
        """The cell `name`, "" where it is empty."""
        return self.cells.get(name, "")

    def number(self, name: str) -> float | None:
        """The cell `name` as a number, None where it is empty."""
        text = self.cells.get(name, "")
        return float(text) if text else None

    def needed(self, name: str) -> float:
        """The cell `name` as a number that the table promises for this kind of row."""
        number = self.number(name)
        assert number is not None, f"{self.id}: {name} is empty"
        return number

    def several(self, name: str) -> tuple[str, ...]:
        """The parts of a cell that holds several words separated by semicolons."""
        return tuple(part for part in self.cells.get(name, "").split(";") if part)

    def cited(self, figure_mark: str = "") -> str:
        """Row id, citation and mark in one line; the figure's own mark where it has one."""
        mark = self.text(figure_mark) or self.mark
        return f"{self.id}: {self.source} [{mark}]"


def provenance_of(cited: str) -> Provenance:
    """The row with its citation, and the mark, from what `MeasurementRow.cited` wrote."""
    source, _, mark = cited.removesuffix("]").rpartition(" [")
    return Provenance(Mark(mark), source)


@dataclass(frozen=True)
class MeasurementTables:
    """The measurement tables of one region."""

    norms: tuple[MeasurementRow, ...]
    strength_norms: tuple[MeasurementRow, ...]
    error: tuple[MeasurementRow, ...]
    side_difference: tuple[MeasurementRow, ...]
    change: tuple[MeasurementRow, ...]
    agreement: tuple[MeasurementRow, ...] = ()

    def usable(self, name: str) -> tuple[MeasurementRow, ...]:
        """The rows of table `name` that may enter a calculation."""
        return self._usable[name]

    def usable_of(self, name: str, item: str) -> tuple[MeasurementRow, ...]:
        """Those of them that are of one item."""
        return self._usable_by_item[name].get(item, ())

    @cached_property
    def _usable(self) -> dict[str, tuple[MeasurementRow, ...]]:
        return {name: tuple(row for row in getattr(self, name) if row.usable) for name in NAMES}

    @cached_property
    def _usable_by_item(self) -> dict[str, dict[str, tuple[MeasurementRow, ...]]]:
        found: dict[str, dict[str, tuple[MeasurementRow, ...]]] = {name: {} for name in NAMES}
        for name, rows in self._usable.items():
            for row in rows:
                mine = found[name].get(row.text("item"), ())
                found[name][row.text("item")] = (*mine, row)
        return found


def tables_of(region: Region) -> MeasurementTables:
    """The tables of a region; one that is absent has no rows.

    Raises UserErrors naming file and line where a row has no source, not exactly one mark, a
    number that is none, or is set aside without a reason.
    """
    return region.view(_tables)


def _tables(region: Region) -> MeasurementTables:
    return MeasurementTables(
        **{
            name: check_rows(BY_NAME[name].file, region.part(name)) if region.has(name) else ()
            for name in NAMES
        }
    )


def read_measurement_table(path: Path) -> tuple[MeasurementRow, ...]:
    """The rows of one CSV file, every one checked; all faults are reported together."""
    return check_rows(path.name, ground.read_table(path))


def check_rows(name: str, raw: Sequence[ground.Cells]) -> tuple[MeasurementRow, ...]:
    """The rows of the table `name`, every one checked; all faults are reported together."""
    faults = [
        fault
        for line, row in enumerate(raw, ground.FIRST_LINE)
        for fault in _faults(f"{name}, line {line}", row)
    ]
    ids = [row.get("row", "") for row in raw]
    if len(set(ids)) != len(ids):
        faults.append(UserError(name, "a row id used twice", "each row its own id"))
    if faults:
        raise UserErrors(faults)
    return tuple(MeasurementRow(row["row"], row) for row in raw)


def _faults(where: str, row: Mapping[str, str]) -> Iterator[UserError]:
    if not row.get("source"):
        yield UserError(where, None, "a source", "Every figure names where it comes from.")
    if row.get("mark") not in MARKS:
        yield UserError(f"{where}, mark", row.get("mark") or None, ONE_MARK)
    if row.get("use") not in ("yes", "no"):
        yield UserError(f"{where}, use", row.get("use") or None, "yes or no")
    if row.get("use") == "no" and not row.get("why_not"):
        yield UserError(f"{where}, why_not", None, "the reason why the row is not used")
    for name, mark in row.items():
        if name.endswith("_mark") and mark and mark not in MARKS:
            yield UserError(f"{where}, {name}", mark, ONE_MARK)
    yield from _unmarked(where, row)


FIGURES = {"sem": "sem_mark", "sd": "sd_mark", "mdc": "mdc_mark", "limits": "limits_mark",
           "mcid_low": "mcid_mark", "mcid_high": "mcid_mark"}  # fmt: skip
NUMBERS = ("sem", "sd", "mean", "median", "age_low", "age_high", "limits", "threshold", "step",
           "mcid_low", "mcid_high", "low", "high", "value_low", "value_high")  # fmt: skip


def _unmarked(where: str, row: Mapping[str, str]) -> Iterator[UserError]:
    for figure, mark in FIGURES.items():
        if row.get(figure) and mark in row and not row[mark]:
            yield UserError(f"{where}, {mark}", None, f"the mark of the figure in {figure}")
    for name in NUMBERS:
        if row.get(name) and ground.finite_number(row[name]) is None:
            yield UserError(f"{where}, {name}", row[name], "a finite number")
