"""Reading a table of marks: everything is checked, then all of it is accepted or none.

Each mistake is named by its row and column. A blank mark is not a zero: it stays missing, and the
student's score at that station is not computed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError
from sidewise.teaching.tables.cell_values import settled_marks
from sidewise.teaching.tables.columns import (
    COLUMNS,
    DEFAULTS,
    IDS,
    NO,
    NUMBERS,
    REQUIRED,
    YES,
    RatingScale,
)
from sidewise.teaching.tables.plausible import Alike, Zeros, settle_codes, settle_zeros
from sidewise.teaching.tables.ratings import parse_ratings
from sidewise.teaching.tables.row_checks import (
    Faults,
    check_table,
    date_like,
    parse_numbers,
    parse_times,
    trim_text,
)
from sidewise.teaching.tables.table_files import (
    MissingHeadings,
    NoLayout,
    RawTable,
    column_text,
    heading_key,
    open_table,
)

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class Marks:
    """A checked table of marks, ready for analysis.

    `table` has the columns of `columns.COLUMNS`: ids as text, numbers as floats, `global_rating`
    as its place on `scale` (NaN where none was given), `critical_error` as true or false. Its
    index is the row in the file. `left_out` are the rows left out on request.
    """

    name: str
    table: pd.DataFrame
    scale: RatingScale
    left_out: tuple[int, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def rows(self) -> int:
        """How many rows were accepted."""
        return len(self.table)


@dataclass(frozen=True, slots=True)
class MarksCheck:
    """What `sidewise check` says of a table of marks that could be read."""

    name: str
    rows: int
    sittings: int
    students: int
    stations: int
    examiners: int
    missing: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def complete(self) -> bool:
        """Whether every student has every station's marks and a rating."""
        return not self.missing

    def lines(self) -> list[str]:
        """The check in words."""
        head = (
            f"{self.name}: marks, {self.rows:,} rows, {self.students:,} students, "
            f"{self.stations} stations, {self.examiners} examiners"
        )
        state = "complete" if self.complete else "valid, but incomplete"
        return [f"{head}: {state}.", *self.missing, *self.warnings]

    def text(self) -> str:
        """The lines as one text."""
        return "\n".join(self.lines())


def read_marks(
    path: Path | str,
    *,
    scale: RatingScale | None = None,
    leave_out: frozenset[int] = frozenset(),
    sitting: str | None = None,
    group: str | None = None,
    columns: str | None = None,
    zeros: Zeros = "ask",
    alike: Alike = "ask",
) -> Marks:
    """Read CSV, XLSX or Parquet; raise every mistake found, by row, before anything is used.

    `leave_out` are rows of the file (the headings are row 1) to be ignored, as asked by the
    reader; `sitting` keeps one sitting of a file that holds several; `group` is the column that
    says to which group a student belongs (else the column of that name, where there is one).
    `columns` confirms or changes what a sheet with other headings seems to be ("yes": as proposed);
    `zeros` and `alike` answer what is otherwise asked (see `plausible`).
    """
    raw = _opened(path, columns)
    return marks_from_cells(
        raw, scale=scale, leave_out=leave_out, sitting=sitting, group=group, zeros=zeros,
        alike=alike,
    )  # fmt: skip


def _opened(path: Path | str, columns: str | None) -> RawTable:
    """A table with our headings as it is; any other sheet by its confirmed layout."""
    from sidewise.teaching.tables.sheet_reader import read_sheet

    if columns is not None:
        return read_sheet(path, columns)
    try:
        return open_table(path, REQUIRED)
    except MissingHeadings as refused:
        if str(path) == "-":
            raise
        try:
            return read_sheet(path, None)
        except NoLayout:
            raise refused from None


def _with_group(raw: RawTable, column: str | None) -> RawTable:
    if column is None:
        return raw
    name = heading_key(column)
    if name not in raw.cells:
        raise UserError("group", column, f"a column: {', '.join(raw.cells.columns)}", "")
    return replace(raw, cells=raw.cells.assign(group=raw.cells[name]))


def marks_from_frame(
    frame: pd.DataFrame,
    *,
    scale: RatingScale | None = None,
    name: str = "marks",
    group: str | None = None,
) -> Marks:
    """The same checks for a data frame already in memory (column names as in `COLUMNS`)."""
    import pandas as pd

    cells = pd.DataFrame({str(c): column_text(frame[c]) for c in frame.columns})
    cells.index = pd.RangeIndex(2, len(cells) + 2)
    missing = [column for column in REQUIRED if column not in cells]
    if missing:
        raise UserError(
            f"{name}: columns", ", ".join(cells.columns), f"also {', '.join(missing)}", ""
        )
    return marks_from_cells(RawTable(name, cells), scale=scale, group=group)


def marks_from_cells(
    raw: RawTable,
    *,
    scale: RatingScale | None = None,
    leave_out: frozenset[int] = frozenset(),
    sitting: str | None = None,
    group: str | None = None,
    zeros: Zeros = "ask",
    alike: Alike = "ask",
) -> Marks:
    """Text cells to checked marks; see `read_marks`."""
    scale = scale or RatingScale()
    raw = _with_group(raw, group)
    cells = _without_rows(raw, leave_out)
    faults = Faults(raw.name)
    table = _typed(settled_marks(cells, faults), scale, faults)
    joined: list[str] = []
    if alike == "join":
        table, joined = settle_codes(table, raw.name, alike)
    check_table(table, faults)
    faults.raise_all()
    if alike == "ask":
        settle_codes(table, raw.name, alike)
    table, absent = settle_zeros(table, raw.name, zeros)
    warnings = (
        *raw.warnings, *faults.warnings, *joined, *absent, *_about_columns(raw),
        *_about_rows(leave_out),
    )  # fmt: skip
    table = _one_sitting(raw.name, table, sitting)
    return Marks(raw.name, table, scale, tuple(sorted(leave_out)), warnings)


def _without_rows(raw: RawTable, leave_out: frozenset[int]) -> pd.DataFrame:
    rows = raw.cells.index.astype(int)
    strangers = sorted(leave_out - set(rows)) if leave_out else []
    if strangers:
        raise UserError(
            "rows to leave out",
            ", ".join(map(str, strangers[:8])),
            f"rows of the file, from {rows[0]} to {rows[-1]}",
            "The headings are row 1.",
        )
    kept = raw.cells[~rows.isin(leave_out)] if leave_out else raw.cells
    if kept.empty:
        raise UserError("rows to leave out", "every row", "some rows to remain", "")
    return kept


def _typed(cells: pd.DataFrame, scale: RatingScale, faults: Faults) -> pd.DataFrame:
    import pandas as pd

    columns: dict[str, Any] = {}
    for name in COLUMNS:
        given = name in cells
        text = (
            cells[name] if given else pd.Series(DEFAULTS[name], cells.index, dtype=str, name=name)
        )
        columns[name] = _column(name, text, scale, faults)
    return pd.DataFrame(columns, index=cells.index)


def _column(name: str, text: pd.Series[str], scale: RatingScale, faults: Faults) -> Any:
    if name in NUMBERS:
        return parse_numbers(text, faults, blank=1.0 if name == "weight" else None)
    if name == "global_rating":
        return parse_ratings(text, scale, faults)
    if name in ("critical_error", "linking"):
        return _flags(text, faults)
    if name in IDS:
        return _identities(name, text, faults)
    if name == "time":
        return parse_times(text, faults)
    if name in ("group", "domain", "stage"):
        trimmed = trim_text(text)
        return trimmed.where(trimmed != "", None)
    return text


def _identities(name: str, text: pd.Series[str], faults: Faults) -> pd.Series[str]:
    trimmed = trim_text(text)
    if name in DEFAULTS:
        return trimmed.where(trimmed != "", DEFAULTS[name])
    faults.rows(trimmed.index[trimmed == ""], name, "", f"the {name}", "A row needs one.")
    if name != "session":
        dates = [value for value in trimmed.unique() if date_like(value)]
        faults.dates(trimmed[trimmed.isin(dates)])
    return trimmed


def _flags(text: pd.Series[str], faults: Faults) -> pd.Series[bool]:
    spellings = {value: value.strip().casefold() for value in text.unique()}
    unknown = [value for value, word in spellings.items() if word not in YES | NO]
    faults.cells(text[text.isin(unknown)], "yes or no", "An empty cell is read as no.")
    return text.map({value: word in YES for value, word in spellings.items()}).astype(bool)


def _one_sitting(name: str, table: pd.DataFrame, sitting: str | None) -> pd.DataFrame:
    found = list(table["sitting"].unique())
    if sitting is None:
        return table
    if sitting not in found:
        raise UserError("sitting", sitting, f"one of: {', '.join(found[:12])}", f"As in {name}.")
    return table[table["sitting"] == sitting]


def _about_columns(raw: RawTable) -> list[str]:
    unused = [column for column in raw.cells.columns if column and column not in COLUMNS]
    return [f"Columns not used: {', '.join(unused)}."] if unused else []


def _about_rows(leave_out: frozenset[int]) -> list[str]:
    if not leave_out:
        return []
    listed = ", ".join(map(str, sorted(leave_out)[:20]))
    return [f"{len(leave_out)} rows left out on request: {listed}."]


# ---------------------------------------------------------------- for `sidewise check`


def check_marks(
    path: Path | str,
    *,
    scale: RatingScale | None = None,
    columns: str | None = None,
    zeros: Zeros = "ask",
    alike: Alike = "ask",
) -> MarksCheck:
    """Read and summarise a table of marks; raises `UserError` when it cannot be accepted. The other
    arguments are those of `read_marks`."""
    marks = read_marks(path, scale=scale, columns=columns, zeros=zeros, alike=alike)
    table = marks.table[~marks.table["linking"].astype(bool)]
    return MarksCheck(
        name=marks.name,
        rows=len(table),
        sittings=int(table["sitting"].nunique()),
        students=len(table[["sitting", "student"]].drop_duplicates()),
        stations=int(table["station"].nunique()),
        examiners=int(table["examiner"].nunique()),
        missing=tuple(what_is_missing(table)),
        warnings=marks.warnings,
    )


def what_is_missing(table: pd.DataFrame) -> list[str]:
    """Blank marks, students without a station, cells without a rating: one line each kind."""
    blank = table[table["mark"].isna()]
    cells = table.groupby(["sitting", "student", "station"], sort=False)["global_rating"].count()
    pairs = len(table[["sitting", "student"]].drop_duplicates())
    stations = table[["sitting", "station"]].drop_duplicates().groupby("sitting").size()
    students = table[["sitting", "student"]].drop_duplicates().groupby("sitting").size()
    absent = int((stations * students).sum()) - len(cells)
    unrated = int((cells == 0).sum())
    lines = []
    if len(blank):
        rows = ", ".join(str(int(row)) for row in blank.index[:8])
        lines.append(f"{len(blank):,} marks are blank (first rows: {rows}).")
    if absent:
        lines.append(f"{absent:,} times a student has no marks at a station ({pairs:,} students).")
    if unrated:
        lines.append(f"{unrated:,} performances have no global rating.")
    return lines
