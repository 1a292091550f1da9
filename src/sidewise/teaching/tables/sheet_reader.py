"""From a sheet and its confirmed layout to the long table that everything else reads."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from sidewise.errors import UserError
from sidewise.teaching.tables.cell_values import DONE, mark_cell
from sidewise.teaching.tables.questions import SheetQuestion
from sidewise.teaching.tables.sheet_columns import UNKNOWN, changed_layout, layout_words
from sidewise.teaching.tables.sheet_grid import Grid, read_grid
from sidewise.teaching.tables.sheet_layout import SheetLayout, proposed_layout
from sidewise.teaching.tables.table_files import RawTable

NOBODY = "not recorded"
CARRIED = (
    "sitting",
    "circuit",
    "session",
    "item",
    "weight",
    "critical_error",
    "time",
    "group",
    "domain",
    "stage",
    "linking",
)


def read_sheet(path: Path | str, columns: str | None) -> RawTable:
    """A sheet in any layout as text cells with our headings.

    Without `columns` nothing is read: the proposal is raised as a question (`UserError`). The index
    is the row of the file; in a wide sheet the place of the station stands after the point.
    """
    return sheet_cells(read_grid(path), columns)


def sheet_cells(grid: Grid, columns: str | None) -> RawTable:
    """As `read_sheet`, of a sheet that is open already."""
    layout = proposed_layout(grid)
    if columns is None:
        raise proposal_question(grid, layout)
    layout = changed_layout(layout, columns, grid.name)
    words = layout_words(layout)
    if f"={UNKNOWN}" in words:
        raise SheetQuestion(
            f"{grid.name}: maximum", None, "the highest mark of each station",
            "Say one for all, --columns 'maximum=20', or one for each station, 'maximum=20|15'.",
            "columns",
        )  # fmt: skip
    return _table(grid, layout)


def proposal_question(grid: Grid, layout: SheetLayout) -> SheetQuestion:
    """What the sheet seems to be, to be confirmed."""
    words = layout_words(layout)
    known = "" if f"={UNKNOWN}" not in words else f"; {UNKNOWN} must be said"
    kind = (
        f"a row for each student, {len(layout.stations)} stations" if layout.kind == "wide"
        else "a row for each mark"
    )  # fmt: skip
    return SheetQuestion(
        f"{grid.name}: headings", ", ".join(h for h in layout.headings if h)[:160],
        f"our headings, or your word that this is right ({kind}{known}): {words}",
        "Confirm with --columns yes, or change parts: --columns 'maximum=20; examiner=Assessor'.",
        "columns",
    )  # fmt: skip


def _students(grid: Grid, layout: SheetLayout) -> list[tuple[int, tuple[str, ...]]]:
    rows = enumerate(grid.rows[layout.first :], layout.first + 1)
    return [(i, row) for i, row in rows if i not in layout.left and any(row)]


@dataclass
class _Notes:
    """What was done to cells, counted for one sentence each."""

    done: Counter[str]

    def sentences(self) -> list[str]:
        return [f"{n:,} {DONE[how]}." for how, n in self.done.items() if how]


def _table(grid: Grid, layout: SheetLayout) -> RawTable:
    import pandas as pd

    notes = _Notes(Counter())
    make = _wide_rows if layout.kind == "wide" else _long_rows
    rows = make(grid, layout, notes)
    if not rows:
        raise UserError(grid.name, "headings only", "at least one row below the headings", "")
    index = pd.Index([index for index, _ in rows], dtype=float if layout.kind == "wide" else int)
    cells = pd.DataFrame([cell for _, cell in rows], index=index).fillna("")
    said = [f"Read as: {layout_words(layout)}.", *notes.sentences()]
    if layout.left:
        said.append(f"Rows that are no students left out: {', '.join(map(str, layout.left))}.")
    if layout.no_examiner:
        said.append("No examiner is recorded: nothing can be said of examiners.")
    return RawTable(grid.name, cells, (*grid.warnings, *said))


Cells = dict[str, str]


def _common(row: tuple[str, ...], layout: SheetLayout) -> Cells:
    names = ("student", *CARRIED, *(() if layout.no_examiner else ("examiner",)))
    cells = {name: row[layout.columns[name]] for name in names if name in layout.columns}
    if layout.no_examiner:
        cells["examiner"] = NOBODY
    return cells


def _marked(text: str, maximum: str, notes: _Notes) -> Cells:
    cell = mark_cell(text)
    notes.done[cell.how] += 1
    if cell.how == "percentage" and maximum:
        # A share of a maximum that the sheet gives elsewhere.
        share = float(cell.text) / 100
        return {"mark": f"{share * float(maximum.replace(',', '.')):.10g}", "maximum": maximum}
    most = f"{cell.maximum:g}" if cell.maximum is not None else maximum
    return {"mark": cell.text, "maximum": most}


def _long_rows(grid: Grid, layout: SheetLayout, notes: _Notes) -> list[tuple[float, Cells]]:
    out: list[tuple[float, Cells]] = []
    at = layout.columns
    for number, row in _students(grid, layout):
        most = f"{layout.maximum:g}" if layout.maximum is not None else ""
        most = row[at["maximum"]] if not most and "maximum" in at else most
        cells = _common(row, layout) | {"station": row[at["station"]]}
        if "global_rating" in at:
            cells["global_rating"] = row[at["global_rating"]]
        out.append((number, cells | _marked(row[at["mark"]], most, notes)))
    return out


def _wide_rows(grid: Grid, layout: SheetLayout, notes: _Notes) -> list[tuple[float, Cells]]:
    out: list[tuple[float, Cells]] = []
    for number, row in _students(grid, layout):
        for k, s in enumerate(layout.stations):
            most = "" if s.maximum is None else f"{s.maximum:g}"
            cells = _common(row, layout) | {"station": s.station}
            if s.rating is not None:
                cells["global_rating"] = row[s.rating]
            if s.examiner is not None and not layout.no_examiner:
                cells["examiner"] = row[s.examiner] or NOBODY
            marked = _marked(row[s.mark], most, notes)
            # An absent student's maximum still has to be known for the checks of the station.
            out.append((number + k / 10_000, cells | marked))
    return out
