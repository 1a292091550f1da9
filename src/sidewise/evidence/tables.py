"""Reads the CSV tables of a region's knowledge; every complaint names file and row."""

from __future__ import annotations

import csv
from functools import lru_cache
from pathlib import Path

from sidewise.errors import UserError
from sidewise.protocol.loader import read_yaml, validated
from sidewise.protocol.model import Mark, Reading

Cells = dict[str, str]
MARKS = frozenset(mark.value for mark in Mark)


def read_table(path: Path) -> list[Cells]:
    """Every row of a CSV file as text; UserError if the file is not there or is ragged."""
    try:
        with path.open(encoding="utf-8", newline="") as handle:
            rows = list(csv.DictReader(handle))
    except OSError as error:
        raise UserError(str(path.name), error.strerror or "", "a table that can be read") from error
    for number, row in enumerate(rows, start=2):
        if None in row or None in row.values():
            raise UserError(f"{path.name}, line {number}", len(row), "as many cells as the header")
    return rows


def number(cells: Cells, name: str, place: str) -> float | None:
    """The cell as a finite number, None where it is empty."""
    text = cells[name].strip()
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = float("nan")
    if not abs(value) < float("inf"):
        raise UserError(f"{place}.{name}", text, "a finite number, or nothing")
    return value


def whole(cells: Cells, name: str, place: str) -> int | None:
    """The cell as a count, None where it is empty."""
    value = number(cells, name, place)
    if value is None:
        return None
    if value < 0 or value != int(value):
        raise UserError(f"{place}.{name}", cells[name], "a whole number, 0 or more")
    return int(value)


def share(cells: Cells, name: str, place: str) -> float | None:
    """The cell as a probability, None where it is empty."""
    value = number(cells, name, place)
    if value is not None and not 0 <= value <= 1:
        raise UserError(f"{place}.{name}", value, "a number from 0 to 1", "A percentage? Divide.")
    return value


def needed(value: float | None, name: str, place: str) -> float:
    """`value`, which must be there."""
    if value is None:
        raise UserError(f"{place}.{name}", None, "a number")
    return value


def mark_of(cells: Cells, name: str, place: str) -> str:
    """The cell as one of the five marks."""
    if cells[name] not in MARKS:
        raise UserError(f"{place}.{name}", cells[name], f"one of {', '.join(sorted(MARKS))}")
    return cells[name]


@lru_cache(maxsize=8)
def read_readings(folder: Path) -> tuple[Reading, ...]:
    """The readings of a region in their order, without loading the whole protocol."""
    data = read_yaml(folder / "readings.yaml")
    return tuple(validated(Reading, entry, f"readings.yaml {entry.get('id')}") for entry in data)
