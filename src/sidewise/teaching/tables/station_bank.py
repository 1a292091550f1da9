"""A bank of stations: each sitting's figures of each station, one row, in a table that grows.

A CSV of ours that any spreadsheet opens; rows stand in the order in which sittings were kept. It
holds no student.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from sidewise.errors import UserError
from sidewise.ground.whole_file import write_text


@dataclass(frozen=True, slots=True)
class BankRow:
    """One station at one sitting. Marks in percent; NaN where not known.

    `link` is the correlation with the other stations, `slope` the points per grade, `mark` the
    station's pass mark, `examination_mark` that of its sitting, `examination_mean` the mean total.
    """

    sitting: str
    station: str
    students: int
    mean: float
    sd: float
    link: float
    r_squared: float
    slope: float
    mark: float
    below: int
    stations: int
    examination_mark: float
    examination_mean: float


NAMES = tuple(f.name for f in fields(BankRow))
WORDS, WHOLE = ("sitting", "station"), ("students", "below", "stations")


def read_bank(path: Path) -> tuple[BankRow, ...]:
    """Every row of the bank; none where there is no file yet. UserError names row and column."""
    if not path.exists():
        return ()
    try:
        text = path.read_text(encoding="utf-8-sig")
        lines = list(csv.reader(io.StringIO(text)))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise UserError(path.name, str(error), "a bank of stations that can be read", "") from error
    if not lines or tuple(lines[0]) != NAMES:
        raise UserError(
            f"{path.name}: row 1", ", ".join(lines[0]) if lines else "nothing",
            f"the columns {', '.join(NAMES)}", "Only --keep-in-bank writes this table.",
        )  # fmt: skip
    return tuple(_row(path.name, k, cells) for k, cells in enumerate(lines[1:], start=2) if cells)


def _row(name: str, number: int, cells: list[str]) -> BankRow:
    if len(cells) != len(NAMES):
        raise UserError(f"{name}: row {number}", f"{len(cells)} cells", f"{len(NAMES)} cells", "")
    values: dict[str, str | int | float] = {}
    for column, cell in zip(NAMES, cells, strict=True):
        try:
            values[column] = _value(column, cell)
        except ValueError:
            where = f"{name}: row {number}, {column}"
            raise UserError(where, cell, "a number, or nothing where it is not known", "") from None
    return BankRow(**values)  # type: ignore[arg-type]


def _value(column: str, cell: str) -> str | int | float:
    if column in WORDS:
        return cell
    if column in WHOLE:
        return int(cell)
    number = float(cell) if cell else math.nan
    if math.isinf(number):
        raise ValueError(cell)
    return number


def add_to_bank(path: Path, rows: Sequence[BankRow]) -> int:
    """Write the bank with `rows` behind what is there; returns how many rows it then has.

    A sitting that is in the bank already is refused: its figures would count twice.
    """
    there = read_bank(path)
    twice = {r.sitting for r in there} & {r.sitting for r in rows}
    if twice:
        raise UserError(
            "bank", f"sitting {min(twice)}, which is in {path.name} already", "a sitting once",
            "Delete its rows to keep it anew, or leave --keep-in-bank out.",
        )  # fmt: skip
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(NAMES)
    for row in (*there, *rows):
        writer.writerow([_cell(value) for value in asdict(row).values()])
    write_text(path, out.getvalue())
    return len(there) + len(rows)


def _cell(value: str | int | float) -> str:
    if isinstance(value, float):
        return "" if math.isnan(value) else f"{value:.6g}"
    return str(value)
