"""A sheet as people keep it: a grid of text cells, with nothing taken for a heading yet."""

from __future__ import annotations

import csv
import io
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sidewise.errors import UserError
from sidewise.teaching.tables import table_files as files


@dataclass(frozen=True, slots=True)
class Grid:
    """Cells by row; row 1 of the file is `rows[0]`, and every row is equally long."""

    name: str
    rows: tuple[tuple[str, ...], ...]
    warnings: tuple[str, ...] = ()


def read_grid(path: Path | str) -> Grid:
    """Read CSV, XLSX or Parquet whole; the fullest sheet of a workbook."""
    name, data = files.file_bytes(path)
    if data.startswith(files.ZIP):
        return even_grid(name, _fullest_sheet(name, data))
    if data.startswith(files.PARQUET):
        frame = files.parquet_cells(name, data)
        return even_grid(name, [list(map(str, frame.columns)), *frame.to_numpy().tolist()])
    if data.startswith(files.OLD_EXCEL):
        raise UserError(name, "an old binary workbook", "CSV, XLSX or Parquet", "Save it as XLSX.")
    return text_grid(name, data)


def text_grid(name: str, data: bytes) -> Grid:
    """Separated text as a grid; what is no text is refused."""
    encoding, notes = files.text_encoding(name, data)
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        raise UserError(
            name, f"bytes that are no text in {encoding}", "UTF-8", "Save it again as CSV UTF-8."
        ) from error
    return even_grid(name, _separated(name, text), notes)


def _separated(name: str, text: str) -> list[list[str]]:
    """Rows by the separator that is found most often in the first lines together."""
    lines = text.splitlines()[:30]
    separator = max(files.SEPARATORS, key=lambda s: sum(line.count(s) for line in lines))
    try:
        return [list(row) for row in csv.reader(io.StringIO(text), delimiter=separator)]
    except csv.Error as error:
        raise UserError(
            name, "a table that does not parse", "CSV", f"The reader says: {error}."
        ) from error


def _fullest_sheet(name: str, data: bytes) -> list[list[str]]:
    from openpyxl import load_workbook

    files.check_unpacked(name, data)
    try:
        with warnings.catch_warnings():
            # The reader warns of styles and extensions it does not know; cells are unaffected.
            warnings.simplefilter("ignore", UserWarning)
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheets = [list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets]
    except Exception as error:
        # A damaged workbook fails in the archive, the XML or the reader's own types.
        raise files.no_workbook(name) from error
    chosen = max(sheets, key=_filled, default=[])
    return [[files.cell_text(cell) for cell in row] for row in chosen]


def _filled(rows: list[tuple[Any, ...]]) -> int:
    return sum(cell is not None for row in rows for cell in row)


def even_grid(name: str, rows: list[list[str]], notes: tuple[str, ...] = ()) -> Grid:
    """Rows of one length, without white space at the ends of cells."""
    if not any(any(cell.strip() for cell in row) for row in rows):
        raise UserError(name, "an empty file", "a table with a heading row", "")
    width = max(map(len, rows))
    even = tuple(tuple(c.strip() for c in row) + ("",) * (width - len(row)) for row in rows)
    return Grid(name, even, notes)
