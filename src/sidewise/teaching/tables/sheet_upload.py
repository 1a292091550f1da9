"""A sheet that somebody sends: taken apart within limits, before anything else looks at it.

What a command reads was chosen by whoever runs it on their own machine; what is sent to a service
may be anything, and a few kilobytes can stand for a table that no machine holds.
"""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.teaching.tables import table_files as files
from sidewise.teaching.tables.columns import REQUIRED
from sidewise.teaching.tables.sheet_grid import Grid, even_grid, text_grid

Rows = list[list[str]]


@dataclass(frozen=True, slots=True)
class SheetLimits:
    """The most that is taken: bytes as sent and unpacked, rows, columns, cells, letters of a cell.

    Our judgement: several times the largest sheet of one day of stations that we can think of.
    """

    sent: int = 5_000_000
    unpacked: int = 25_000_000
    beside_sheets: int = 5_000_000
    rows: int = 60_000
    columns: int = 400
    cells: int = 1_200_000
    letters: int = 2_000


LIMITS = SheetLimits()
SPLIT = "Send one examination at a time, or use the command `sidewise marks`."


def uploaded_grid(name: str, data: bytes, limits: SheetLimits = LIMITS) -> Grid:
    """The cells of a CSV, XLSX or Parquet file as text; UserError for what is none or too large.

    A file with our own headings is held to them: a row of another length is a mistake there.
    """
    if not data.strip():
        raise UserError(name, "an empty file", "a table with a heading row", "")
    _refuse(name, "bytes", len(data), limits.sent)
    if data.startswith(files.OLD_EXCEL):
        raise UserError(name, "a file of another kind", "CSV, XLSX or Parquet",
                        "Save it as XLSX or CSV.")  # fmt: skip
    if data.startswith(files.PARQUET):
        grid = even_grid(name, _parquet_rows(name, data, limits))
    elif data.startswith(files.ZIP):
        grid = even_grid(name, _workbook_rows(name, data, limits))
    else:
        _measure_text(name, data, limits)
        grid = _text(name, data)
    _measure(grid, limits)
    return grid


def has_own_headings(grid: Grid) -> bool:
    """Whether the first row names our columns, so that nothing has to be proposed."""
    return set(REQUIRED) <= {files.heading_key(cell) for cell in grid.rows[0] if cell}


def _refuse(name: str, what: str, got: int, most: int) -> None:
    if got > most:
        raise UserError(name, f"{got:,} {what}", f"at most {most:,} {what}", SPLIT)


def _measure(grid: Grid, limits: SheetLimits) -> None:
    width = len(grid.rows[0])
    _refuse(grid.name, "rows", len(grid.rows), limits.rows)
    _refuse(grid.name, "columns", width, limits.columns)
    _refuse(grid.name, "cells", width * len(grid.rows), limits.cells)
    longest = max(len(cell) for row in grid.rows for cell in row)
    _refuse(grid.name, "letters in one cell", longest, limits.letters)


# ---------------------------------------------------------------- text


def _measure_text(name: str, data: bytes, limits: SheetLimits) -> None:
    """Before it is parsed: one long line makes every row as long as it."""
    lines = data.replace(b"\r", b"\n").split(b"\n")
    _refuse(name, "lines", len(lines), 2 * limits.rows)
    width = 1 + max(line.count(s.encode()) for line in lines for s in files.SEPARATORS)
    # A comma may stand in a cell: what is parsed is measured again.
    _refuse(name, "columns", width, 4 * limits.columns)


def _text(name: str, data: bytes) -> Grid:
    grid = text_grid(name, data)
    if not has_own_headings(grid):
        return grid
    table = files.text_table(name, data)
    rows = [list(map(str, table.cells.columns)), *table.cells.to_numpy().tolist()]
    return even_grid(name, rows, table.warnings)


# ---------------------------------------------------------------- Parquet


def _parquet_rows(name: str, data: bytes, limits: SheetLimits) -> Rows:
    """The table with its headings; its size as its footer tells it, before a page is unpacked.

    A footer may say less than its pages hold: then they do not open, or the process that reads them
    ends at its limit of memory.
    """
    import pyarrow
    from pyarrow.parquet import ParquetFile

    try:
        footer = ParquetFile(io.BytesIO(data)).metadata
        groups = [footer.row_group(k) for k in range(footer.num_row_groups)]
    except (pyarrow.ArrowException, OSError, ValueError) as error:
        raise files.no_parquet(name) from error
    _refuse(name, "rows", footer.num_rows, limits.rows)
    _refuse(name, "columns", footer.num_columns, limits.columns)
    _refuse(name, "cells", footer.num_rows * footer.num_columns, limits.cells)
    _refuse(name, "bytes unpacked", sum(one.total_byte_size for one in groups), limits.unpacked)
    cells = files.parquet_cells(name, data)
    return [list(map(str, cells.columns)), *cells.to_numpy().tolist()]


# ---------------------------------------------------------------- workbook


def _workbook_rows(name: str, data: bytes, limits: SheetLimits) -> Rows:
    """The sheet whose first row has our headings, else the fullest."""
    files.check_unpacked(name, data, limits.unpacked)
    _measure_members(name, data, limits)
    try:
        # Whatever a damaged workbook throws from the archive, the XML or the reader's types, at
        # any row; a sheet that is too large is told apart.
        sheets = list(_sheets(name, data, limits))
    except UserError:
        raise
    except Exception as error:
        raise files.no_workbook(name) from error
    own = [rows for rows in sheets if rows and _names_columns(rows[0])]
    return own[0] if own else max(sheets, key=_filled, default=[])


def _measure_members(name: str, data: bytes, limits: SheetLimits) -> None:
    # Styles and the like become objects many times their size.
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        beside = sum(
            member.file_size for member in archive.infolist()
            if not member.filename.startswith("xl/worksheets/")
            and member.filename != "xl/sharedStrings.xml"
        )  # fmt: skip
    _refuse(name, "bytes beside the sheets", beside, limits.beside_sheets)


def _sheets(name: str, data: bytes, limits: SheetLimits) -> Iterator[Rows]:
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        # The reader warns of styles and extensions it does not know; cells are unaffected.
        warnings.simplefilter("ignore", UserWarning)
        book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        cells = 0
        for sheet in book.worksheets:
            rows: Rows = []
            for row in sheet.iter_rows(values_only=True):
                # One cell at the far corner of a sheet stands for all the empty ones before it.
                cells += len(row)
                _refuse(name, "rows", len(rows) + 1, limits.rows)
                _refuse(name, "cells", cells, 2 * limits.cells)
                rows.append([files.cell_text(cell) for cell in row])
            yield _trimmed(rows)


def _trimmed(rows: Rows) -> Rows:
    """Without the empty rows and columns at the ends, which a spreadsheet keeps when formatted."""
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((k for row in rows for k, cell in enumerate(row, 1) if cell), default=0)
    return [row[:width] for row in rows]


def _names_columns(row: list[str]) -> bool:
    return set(REQUIRED) <= {files.heading_key(cell) for cell in row if cell}


def _filled(rows: Rows) -> int:
    return sum(bool(cell) for row in rows for cell in row)
