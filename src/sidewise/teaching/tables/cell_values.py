"""Marks as people type them: percentages, fractions, halves, codes for absence."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sidewise.teaching.tables.heading_words import ABSENT_WORDS
from sidewise.teaching.tables.row_checks import Faults

if TYPE_CHECKING:
    import pandas as pd

_NUMBER = r"[+-]?\d+(?:[.,]\d+)?|[.,]\d+"
_HALVES = {"½": 0.5, "¼": 0.25, "¾": 0.75}
_FRACTION = re.compile(rf"(\d*\s*[½¼¾]|{_NUMBER})\s*(?:/|of|out of|von|sur|de)\s*({_NUMBER})", re.I)
_PERCENT = re.compile(rf"({_NUMBER})\s*%")
_WITH_HALF = re.compile(r"(\d*)\s*([½¼¾])")


@dataclass(frozen=True, slots=True)
class MarkCell:
    """A typed mark: the number and, where the cell says it, the most that could be had.

    `text` is what goes on to the checks: the number, "" for nobody there, or the cell as it stood
    when it could not be read. `how` says what was done to it ("" nothing).
    """

    text: str
    maximum: float | None = None
    how: str = ""


def mark_cell(text: str) -> MarkCell:
    """Read one cell of marks; what is not understood goes on unchanged, to be refused by row."""
    bare = text.strip()
    if bare.casefold() in ABSENT_WORDS:
        return MarkCell("", how="absent")
    fraction = _FRACTION.fullmatch(bare)
    if fraction:
        return MarkCell(_number(fraction[1]), float(_number(fraction[2])), "fraction")
    percent = _PERCENT.fullmatch(bare)
    if percent:
        return MarkCell(_number(percent[1]), 100.0, "percentage")
    half = _WITH_HALF.fullmatch(bare)
    if half:
        return MarkCell(_number(bare), how="half")
    return MarkCell(bare)


def _number(text: str) -> str:
    """A number with a point; a half sign as five tenths."""
    half = _WITH_HALF.fullmatch(text.strip())
    if half:
        return f"{float(half[1] or 0) + _HALVES[half[2]]:g}"
    return text.replace(",", ".")


def looks_like_mark(text: str) -> bool:
    """Whether a cell could be a mark: a number, a percentage, a fraction, a half, nobody there."""
    cell = mark_cell(text)
    return bool(cell.how) or re.fullmatch(_NUMBER, cell.text) is not None


DONE = {
    "absent": "cells say that nobody was there: no marks, never zero",
    "percentage": "percentages read as shares of the maximum",
    "fraction": "fractions read as mark and maximum",
    "half": "half marks read",
}


def settled_marks(cells: pd.DataFrame, faults: Faults) -> pd.DataFrame:
    """Text cells whose marks may be typed as people do, as plain numbers beside their maxima.

    A percentage is a share of the maximum of its row; a fraction must be out of that maximum.
    """
    typed = {text: mark_cell(text) for text in cells["mark"].unique()}
    odd = {text: cell for text, cell in typed.items() if cell.how}
    if not odd:
        return cells
    rows = cells["mark"].isin(list(odd))
    mark = cells["mark"].copy()
    for row in cells.index[rows]:
        mark[row] = _settled(cells, row, odd[cells.at[row, "mark"]], faults)
    how = cells.loc[rows, "mark"].map(lambda text: odd[text].how).value_counts()
    faults.warnings += [f"{n:,} {DONE[str(kind)]}." for kind, n in how.items()]
    return cells.assign(mark=mark)


def _settled(cells: pd.DataFrame, row: Any, cell: MarkCell, faults: Faults) -> str:
    if cell.maximum is None:
        return cell.text
    try:
        most = float(_number(str(cells.at[row, "maximum"])))
    except ValueError:
        # No number there: the check of maxima names the row.
        return cell.text
    if cell.how == "percentage":
        return f"{float(cell.text) * most / 100:.10g}"
    if cell.maximum != most:
        faults.rows(
            [row], "mark", cells.at[row, "mark"], f"out of {most:g}, the maximum of its row",
            "Correct the mark or the maximum.",
        )  # fmt: skip
    return cell.text
