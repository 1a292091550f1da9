"""Opening a table: text, spreadsheet or Parquet in, a frame of plain text cells out.

The kind is told from the first bytes, not from the name. Nothing is interpreted here except the
encoding and the separator; every cell becomes text, so that leading zeros and codes survive.
"""

from __future__ import annotations

import io
import re
import sys
import warnings
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

ZIP, PARQUET, OLD_EXCEL = b"PK\x03\x04", b"PAR1", b"\xd0\xcf\x11\xe0"
UTF16 = (b"\xff\xfe", b"\xfe\xff")
SEPARATORS = (",", ";", "\t")
LIMIT_UNPACKED = 500_000_000
"""Bytes of a workbook's members: about a full sheet of a million rows of a dozen short cells."""


class MissingHeadings(UserError):
    """A table without the headings that are needed: perhaps another layout."""


class NoLayout(UserError):
    """A sheet in which no layout can be seen at all."""


@dataclass(frozen=True, slots=True)
class RawTable:
    """Text cells as they stood; the index is the row as a spreadsheet numbers it (header 1)."""

    name: str
    cells: pd.DataFrame
    warnings: tuple[str, ...] = ()


def open_table(path: Path | str, required: Iterable[str]) -> RawTable:
    """Read the whole of a file (or standard input for "-") as a table with these columns."""
    name, data = file_bytes(path)
    if not data.strip():
        raise UserError(name, "an empty file", "a table with a heading row", "")
    raw = _table(name, data, tuple(required))
    return checked_table(raw, tuple(required))


def checked_table(raw: RawTable, required: tuple[str, ...]) -> RawTable:
    """The table with comparable headings, these among them, and without its blank rows."""
    name, frame = raw.name, raw.cells
    frame.columns = [heading_key(column) for column in frame.columns]
    check_headings(name, list(frame.columns), required)
    blank = (frame == "").all(axis=1)
    if blank.any():
        frame = frame.loc[~blank]
    if frame.empty:
        raise UserError(name, "headings only", "at least one row below the headings", "")
    return RawTable(name, frame, raw.warnings)


def file_bytes(path: Path | str) -> tuple[str, bytes]:
    """The name to show and the whole content; standard input for "-"."""
    if str(path) == "-":
        return "standard input", sys.stdin.buffer.read()
    try:
        return Path(path).name, Path(path).read_bytes()
    except OSError as error:
        raise UserError(
            str(path), error.strerror or "no file", "a file that can be read", "Check the name."
        ) from error


def _table(name: str, data: bytes, required: tuple[str, ...]) -> RawTable:
    if data.startswith(OLD_EXCEL):
        raise UserError(
            name,
            "an old binary workbook",
            "CSV, XLSX or Parquet",
            "Open it in a spreadsheet program and save it as XLSX or CSV.",
        )
    if data.startswith(ZIP):
        return RawTable(name, _workbook(name, data, required))
    if data.startswith(PARQUET):
        return RawTable(name, parquet_cells(name, data))
    return text_table(name, data)


def heading_key(column: object) -> str:
    """A heading as it is compared: lower case, spaces and hyphens as underscores."""
    return re.sub(r"[\s\-]+", "_", str(column).strip().strip("\ufeff").casefold())


def check_headings(name: str, columns: list[str], required: tuple[str, ...]) -> None:
    """UserError for a heading twice; MissingHeadings for one that is needed and not there."""
    twice = sorted({column for column in columns if column and columns.count(column) > 1})
    if twice:
        raise UserError(f"{name}: headings", ", ".join(twice), "each heading once", "Rename one.")
    missing = [column for column in required if column not in columns]
    if missing:
        raise MissingHeadings(
            f"{name}: headings",
            ", ".join(columns[:12]),
            f"also {', '.join(missing)}",
            "The first row must name the columns; see docs/marks.md for the list.",
        )


# ---------------------------------------------------------------- text


def text_table(name: str, data: bytes) -> RawTable:
    """Separated text whose first row names the columns; every row as long as it."""
    import pandas as pd

    encoding, notes = text_encoding(name, data)
    first = data[:20000].decode(encoding, errors="replace").partition("\n")[0]
    separator = max(SEPARATORS, key=first.count)
    try:
        with warnings.catch_warnings():
            # A first row longer than the headings is only warned of, and its cells dropped.
            warnings.simplefilter("error", pd.errors.ParserWarning)
            frame = _parsed(data, separator, encoding)
    except pd.errors.EmptyDataError:
        raise UserError(name, "an empty first line", "a first line with the columns") from None
    except (pd.errors.ParserError, pd.errors.ParserWarning, UnicodeDecodeError) as error:
        raise _ragged(name, error) from error
    frame.index = pd.RangeIndex(2, len(frame) + 2)
    return RawTable(name, frame, notes)


def _parsed(data: bytes, separator: str, encoding: str) -> pd.DataFrame:
    import pandas as pd

    frame = pd.read_csv(
        io.BytesIO(data),
        sep=separator,
        dtype=str,
        encoding=encoding,
        keep_default_na=False,
        na_filter=False,
        skip_blank_lines=False,
        index_col=False,
        engine="c",
    )
    return frame.fillna("")


def text_encoding(name: str, data: bytes) -> tuple[str, tuple[str, ...]]:
    """UTF-8 unless it cannot be; then Western European, said in a warning."""
    if data.startswith(UTF16):
        return "utf-16", ()
    if b"\x00" in data[:4000]:
        raise UserError(name, "binary data", "CSV, XLSX or Parquet", "Save it again as CSV UTF-8.")
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        note = f"{name} is not UTF-8; read as Western European (cp1252). Check accented letters."
        return _western(name, data), (note,)
    return "utf-8-sig", ()


def _western(name: str, data: bytes) -> str:
    try:
        data.decode("cp1252")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise UserError(
            f"{name}: line {line}",
            "bytes that are no text in UTF-8 or Western European",
            "UTF-8",
            "Save the file again as CSV UTF-8.",
        ) from error
    return "cp1252"


def _ragged(name: str, error: Exception) -> UserError:
    found = re.search(r"Expected (\d+) fields in line (\d+), saw (\d+)", str(error))
    if found:
        wanted, line, got = found.groups()
        return UserError(
            f"{name}: row {line}",
            f"{got} cells",
            f"{wanted}, as in the headings",
            "A comma inside a cell needs the whole cell in quotation marks.",
        )
    return UserError(name, "a table that does not parse", "CSV", f"The reader says: {error}")


# ---------------------------------------------------------------- workbook and Parquet


def _workbook(name: str, data: bytes, required: tuple[str, ...]) -> pd.DataFrame:
    """The first sheet whose first row has the required headings, else the first sheet."""
    from openpyxl import load_workbook

    check_unpacked(name, data)
    try:
        with warnings.catch_warnings():
            # The reader warns of styles and extensions it does not know; cells are unaffected.
            warnings.simplefilter("ignore", UserWarning)
            book = load_workbook(io.BytesIO(data), read_only=True, data_only=True)
            sheets = [list(sheet.iter_rows(values_only=True)) for sheet in book.worksheets]
    except Exception as error:
        # A damaged workbook fails in the archive, the XML or the reader's own types: no list of
        # errors is complete, and nothing of ours runs inside this `try`.
        raise no_workbook(name) from error
    filled = [rows for rows in sheets if rows]
    if not filled:
        raise UserError(name, "an empty workbook", "a sheet with a heading row", "")
    chosen = next((rows for rows in filled if _has(rows[0], required)), filled[0])
    return _from_rows(chosen)


def check_unpacked(name: str, data: bytes, most: int = LIMIT_UNPACKED) -> None:
    """Refuse a workbook that would unpack to more than the machine should hold."""
    # A packed sheet of a few kilobytes may unpack to more than the machine has.
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            size = sum(member.file_size for member in archive.infolist())
    except Exception as error:
        raise no_workbook(name) from error
    if size > most:
        raise UserError(
            name, f"{size / 1e6:,.0f} MB when unpacked", f"at most {most / 1e6:,.0f} MB",
            "Save the table as CSV or Parquet.",
        )  # fmt: skip


def no_workbook(name: str) -> UserError:
    """The error for a workbook that does not open."""
    return UserError(name, "a workbook that does not open", "XLSX", "Save it again as XLSX or CSV.")


def _has(row: tuple[Any, ...], required: tuple[str, ...]) -> bool:
    return set(required) <= {heading_key(cell) for cell in row if cell is not None}


def _from_rows(rows: list[tuple[Any, ...]]) -> pd.DataFrame:
    import pandas as pd

    keep = [i for i, cell in enumerate(rows[0]) if cell is not None and str(cell).strip()]
    width = max(keep) + 1 if keep else 0
    # Rows may be shorter than the headings when their last cells were never touched.
    body = [[cell_text(cell) for cell in row[:width]] + [""] * (width - len(row)) for row in rows]
    frame = pd.DataFrame([[row[i] for i in keep] for row in body[1:]], dtype=str)
    frame.columns = pd.Index([body[0][i] for i in keep])
    frame.index = pd.RangeIndex(2, len(frame) + 2)
    return frame


def no_parquet(name: str) -> UserError:
    """A file that begins as Parquet and does not open."""
    return UserError(name, "a Parquet file that does not open", "Parquet", "Write it again.")


def parquet_cells(name: str, data: bytes) -> pd.DataFrame:
    """A Parquet file as text cells."""
    import pandas as pd
    import pyarrow

    try:
        frame = pd.read_parquet(io.BytesIO(data))
        # Text of a damaged page is decoded only here.
        cells = pd.DataFrame({str(c): column_text(frame[c]) for c in frame.columns})
    except (pyarrow.ArrowException, OSError, ValueError, TypeError, KeyError) as error:
        raise no_parquet(name) from error
    cells.index = pd.RangeIndex(2, len(frame) + 2)
    return cells


def column_text(column: pd.Series[Any]) -> pd.Series[str]:
    """A typed column as text cells; what is missing becomes empty."""
    import pandas as pd

    values = column.reset_index(drop=True)
    if pd.api.types.is_bool_dtype(values.dtype):
        values = values.map({True: "true", False: "false"})
    elif pd.api.types.is_float_dtype(values.dtype):
        return _float_text(values)
    elif pd.api.types.is_object_dtype(values.dtype):
        values = values.map(cell_text)
    return values.astype("object").where(values.notna(), "").astype(str)


def _float_text(values: pd.Series[Any]) -> pd.Series[str]:
    """Whole numbers lose their ".0", so that student 12 is "12" wherever it came from."""
    import numpy as np

    text = values.astype("object").where(values.notna(), "").astype(str)
    finite = values.to_numpy(dtype=float, na_value=np.nan)
    whole = np.isfinite(finite) & (finite == np.floor(finite)) & (abs(finite) < 1e15)
    return text.where(~whole, text.str.replace(r"\.0$", "", regex=True))


def cell_text(value: object) -> str:
    """A spreadsheet cell as text; dates in the international form, so that they are noticed."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, datetime) and value.time() == time(0):
        return value.date().isoformat()
    if isinstance(value, date | time):
        return value.isoformat()
    return str(value)
