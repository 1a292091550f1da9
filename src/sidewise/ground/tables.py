"""Tables of knowledge as CSV: one reader, one rule for a cell; every complaint names its place.

A cell is text without blanks at its ends. A number is finite: neither "nan" nor "inf" is one.
"""

from __future__ import annotations

import csv
import io
import math
import re
from pathlib import Path

from sidewise.errors import UserError
from sidewise.ground.provenance import MARKS, ONE_MARK

Cells = dict[str, str]
"""One row: its cells by the name of their column."""
FORMULA = "=+-@\t\r\n＝＋－＠"
"""A spreadsheet takes a cell that begins so for a formula and runs it (OWASP, CSV injection)."""
SET_OFF = re.compile(f"'*[{re.escape(FORMULA)}]")
FIRST_LINE = 2
"""The line of a file on which its first row stands, below the header."""


def read_table(path: Path) -> list[Cells]:
    """Every row of a CSV file as text; UserError if the file is not there or is ragged."""
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise UserError(path.name, error.strerror or "", "a table that can be read") from error
    except UnicodeDecodeError as error:
        raise UserError(path.name, f"byte {error.start} that is not UTF-8", "UTF-8 text") from None
    return parse_table(text, path.name)


def parse_table(text: str, name: str) -> list[Cells]:
    """Every row of CSV text; `name` is the file's, for complaints. UserError where it is ragged."""
    try:
        rows = list(csv.DictReader(io.StringIO(text, newline="")))
    except csv.Error as error:
        raise UserError(name, str(error), "a table of commas and lines") from None
    for number, row in enumerate(rows, start=FIRST_LINE):
        if None in row or None in row.values():
            got = f"{sum(cell is not None for cell in row.values())} cells"
            raise UserError(f"{name}, line {number}", got, "as many cells as the header")
    return [{column: cell.strip() for column, cell in row.items()} for row in rows]


def safe_cell(text: str) -> str:
    """The cell so that no spreadsheet runs it: what could be a formula is set off by a quote."""
    # Quotes that already stand before such a sign are counted in, so that `plain_cell` can tell.
    if not SET_OFF.match(text) or text == "-" or _is_number(text):
        return text
    return f"'{text}"


def plain_cell(text: str) -> str:
    """The cell as it was before `safe_cell`, for any text."""
    return text[1:] if text.startswith("'") and SET_OFF.match(text) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def finite_number(text: str) -> float | None:
    """The number a text stands for, or None where it is no finite number."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def number_cell(cells: Cells, name: str, place: str) -> float | None:
    """The cell as a finite number, None where it is empty."""
    text = cells[name]
    if not text:
        return None
    value = finite_number(text)
    if value is None:
        raise UserError(f"{place}.{name}", text, "a finite number, or nothing")
    return value


def count_cell(cells: Cells, name: str, place: str) -> int | None:
    """The cell as a count, None where it is empty."""
    value = number_cell(cells, name, place)
    if value is None:
        return None
    if value < 0 or value != int(value):
        raise UserError(f"{place}.{name}", cells[name], "a whole number, 0 or more")
    return int(value)


def probability_cell(cells: Cells, name: str, place: str) -> float | None:
    """The cell as a probability, None where it is empty."""
    value = number_cell(cells, name, place)
    if value is not None and not 0 <= value <= 1:
        raise UserError(f"{place}.{name}", value, "a number from 0 to 1", "A percentage? Divide.")
    return value


def required_number(value: float | None, name: str, place: str) -> float:
    """`value`, which must be there."""
    if value is None:
        raise UserError(f"{place}.{name}", None, "a number")
    return value


def provenance_mark_cell(cells: Cells, name: str, place: str) -> str:
    """The cell as one of the five marks."""
    if cells[name] not in MARKS:
        raise UserError(f"{place}.{name}", cells[name], ONE_MARK)
    return cells[name]
