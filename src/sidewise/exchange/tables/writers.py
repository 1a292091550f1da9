"""Rows into files as they come: CSV, Parquet or one workbook; nothing is held but a stretch.

What is written to a cell that a spreadsheet may open goes through `safe_cell`.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any, Protocol

from sidewise.errors import UserError
from sidewise.exchange.tables.columns import Column, ColumnType
from sidewise.ground.extras import require_extra
from sidewise.ground.tables import safe_cell

FORMS = ("csv", "parquet", "xlsx")
STRETCH = 5_000
"""Rows held before a group of rows is written to Parquet."""
SHEET_ROWS = 1_048_576
SHEET_COLUMNS = 16_384
CELL_LENGTH = 32_767
"""What a sheet of a workbook can hold (ECMA-376, the limits of the usual spreadsheet)."""
NO_XML = re.compile("[\x00-\x08\x0b-\x1f\ufffe\uffff]|_x[0-9A-Fa-f]{4}_")
Row = Mapping[str, Any]
WORKBOOK = "examinations.xlsx"


class TableWriter(Protocol):
    """Takes rows of one table, one by one."""

    def write(self, row: Row) -> None:
        """Write one row; cells that it does not name are empty."""


@contextmanager
def opened_tables(
    folder: Path, form: str, tables: Mapping[str, Sequence[Column]]
) -> Iterator[dict[str, TableWriter]]:
    """A writer for each table, in the folder; the files are whole when this ends."""
    opens = {"csv": _csv_tables, "parquet": _parquet_tables, "xlsx": _workbook}
    if form != "csv":
        require_extra("tables", form)
    with opens[form](folder, tables) as writers:
        yield writers


def cell_words(content: Any, *, encode: Callable[[str], str] = safe_cell) -> str:
    """A cell as text: yes and no in lower case, a number so that it comes back the same."""
    if content is None:
        return ""
    if isinstance(content, bool):
        return "true" if content else "false"
    if isinstance(content, datetime):
        return content.isoformat()
    text = content if isinstance(content, str) else repr(content)
    return encode(text.encode("utf-8", "backslashreplace").decode())


@contextmanager
def _csv_tables(folder: Path, tables: Mapping[str, Sequence[Column]]) -> Iterator[Any]:
    files = []
    writers = {}
    try:
        for name, columns in tables.items():
            files.append((folder / f"{name}.csv").open("w", encoding="utf-8", newline=""))
            writers[name] = _CsvWriter(csv.writer(files[-1]), [one.name for one in columns])
        yield writers
    finally:
        for file in files:
            file.close()


class _CsvWriter:
    def __init__(self, writer: Any, names: list[str]) -> None:
        self._writer, self._names = writer, names
        writer.writerow(names)

    def write(self, row: Row) -> None:
        self._writer.writerow([cell_words(row.get(name)) for name in self._names])


@contextmanager
def _parquet_tables(folder: Path, tables: Mapping[str, Sequence[Column]]) -> Iterator[Any]:
    import pyarrow.parquet as pq

    writers: dict[str, _ParquetWriter] = {}
    try:
        for name, columns in tables.items():
            schema = _schema(columns)
            file = pq.ParquetWriter(folder / f"{name}.parquet", schema, compression="zstd")
            writers[name] = _ParquetWriter(file, schema)
        yield writers
        for writer in writers.values():
            writer.flush()
    finally:
        for writer in writers.values():
            writer.file.close()


class _ParquetWriter:
    def __init__(self, file: Any, schema: Any) -> None:
        self.file, self._schema = file, schema
        self._rows: list[Row] = []

    def write(self, row: Row) -> None:
        self._rows.append(row)
        if len(self._rows) >= STRETCH:
            self.flush()

    def flush(self) -> None:
        """Write what is held as one group of rows."""
        import pyarrow as pa

        columns = [
            pa.array(
                [_plain(row.get(field.name), field.type == pa.string()) for row in self._rows],
                type=field.type,
            )
            for field in self._schema
        ]
        if self._rows:
            self.file.write_table(pa.Table.from_arrays(columns, schema=self._schema))
        self._rows = []


def _plain(content: Any, as_text: bool) -> Any:
    # A column that two kinds fill, one with a number and one with a word, is text.
    return cell_words(content, encode=str) if as_text and content is not None else content


def _schema(columns: Sequence[Column]) -> Any:
    import pyarrow as pa

    types: dict[ColumnType, Any] = {
        "text": pa.string(), "number": pa.float64(), "integer": pa.int64(), "boolean": pa.bool_(),
        # With the offset that was written, which a moment of Parquet cannot keep.
        "datetime": pa.string(),
    }  # fmt: skip
    about = {one.name: {"description": one.about, "unit": one.unit} for one in columns}
    return pa.schema([pa.field(c.name, types[c.type], metadata=about[c.name]) for c in columns])


@contextmanager
def _workbook(folder: Path, tables: Mapping[str, Sequence[Column]]) -> Iterator[Any]:
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    writers = {name: _SheetWriter(book, name, columns) for name, columns in tables.items()}
    yield writers
    book.save(folder / WORKBOOK)


class _SheetWriter:
    def __init__(self, book: Any, name: str, columns: Sequence[Column]) -> None:
        if len(columns) > SHEET_COLUMNS:
            raise UserError(f"sheet {name}", f"{len(columns):,} columns",
                            f"at most {SHEET_COLUMNS:,}, which is what a sheet can hold",
                            "Take --shape long, or --as parquet.")  # fmt: skip
        self._sheet = book.create_sheet(name)
        self._sheet.freeze_panes = "B2"
        self._names = [one.name for one in columns]
        self._name = name
        self._rows = 1
        self._sheet.append(self._names)

    def write(self, row: Row) -> None:
        self._rows += 1
        if self._rows > SHEET_ROWS:
            raise UserError(f"sheet {self._name}", f"more than {SHEET_ROWS:,} rows",
                            "as many as a sheet can hold",
                            "Take --as csv or --as parquet.")  # fmt: skip
        self._sheet.append([self._cell(name, row.get(name)) for name in self._names])

    def _cell(self, name: str, content: Any) -> Any:
        if content is None or isinstance(content, bool | int | float):
            return content
        text = NO_XML.sub(_escaped, cell_words(content))
        if len(text) > CELL_LENGTH:
            raise UserError(f"sheet {self._name}, row {self._rows}, {name}",
                            f"{len(text):,} characters", f"at most {CELL_LENGTH:,} in a cell",
                            "Take --as csv or --as parquet.")  # fmt: skip
        return text


def _escaped(found: re.Match[str]) -> str:
    # As ECMA-376 (18.4, ST_Xstring) writes what XML cannot hold, and what looks like it.
    text = found[0]
    return f"_x005F{text}" if text.startswith("_x") else f"_x{ord(text):04X}_"
