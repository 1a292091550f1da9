"""Reading judges' tables: Angoff's (judge, station, item, expected share from 0 to 1) and Ebel's
(judge, station, item, relevance, difficulty; and relevance, difficulty, expected share).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.teaching.pass_marks.judged import (
    Angoff,
    Ebel,
    JudgedItems,
    angoff_mark,
    ebel_mark,
)
from sidewise.teaching.tables.marks_table import Marks
from sidewise.teaching.tables.row_checks import Faults, parse_numbers
from sidewise.teaching.tables.table_files import open_table

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = ("judge", "station", "item", "expected")
PLACED = ("judge", "station", "item", "relevance", "difficulty")
SHARES = ("relevance", "difficulty", "expected")


def read_angoff(path: Path | str, marks: Marks) -> Angoff:
    """Angoff's mark for the items of `marks`; stations count alike, items by their marks.

    With a column `round` the last round decides, and each round's mark and spread between judges
    stand in the warnings: judges who have seen the others' figures should lie closer, and the mark
    should not have been pulled far.
    """
    raw = open_table(path, COLUMNS)
    faults = Faults(raw.name)
    expected = parse_numbers(raw.cells["expected"], faults)
    faults.cells(expected[~((expected >= 0) & (expected <= 1))], "a share from 0 to 1", "")
    rounds = parse_numbers(raw.cells["round"], faults) if "round" in raw.cells else expected * 0 + 1
    faults.rows(rounds.index[rounds.isna()], "round", "", "the round's number", "")
    faults.raise_all()
    cells = raw.cells.assign(expected=expected, round=rounds)
    found = [_one_round(raw.name, part, marks) for _, part in cells.groupby("round")]
    if len(found) == 1:
        return found[0]
    told = [
        f"Angoff, round {k}: {a.percent:.1f} percent, SD between judges "
        f"{100 * a.sd / (100 * a.cut / a.percent):.1f}."
        for k, a in enumerate(found, start=1)
    ]
    return replace(found[-1], warnings=(*found[-1].warnings, *told))


def _one_round(name: str, cells: pd.DataFrame, marks: Marks) -> Angoff:
    table = _by_judge(name, cells, "expected")
    expected = table.to_numpy(dtype=float)
    weight = _weights(name, list(table.columns), marks)
    keys = tuple((station, item) for station, item in (k.split("\x1f") for k in table.columns))
    judged = JudgedItems(tuple(map(str, table.index)), keys, expected, weight)
    return replace(angoff_mark(expected, weight), judged=judged)


def _by_judge(name: str, cells: pd.DataFrame, column: str) -> pd.DataFrame:
    """Judges by items; every judge must have judged every item, and once."""
    key = cells["station"].str.strip() + "\x1f" + cells["item"].str.strip()
    told = cells.assign(key=key, judge=cells["judge"].str.strip())
    twice = told[told.duplicated(["judge", "key"])]
    if len(twice):
        raise UserError(
            f"{name}: row {twice.index[0]}",
            f"{twice['judge'].iloc[0]} on {twice['key'].iloc[0].replace(chr(31), ' ')} again",
            "one judgement of each item by each judge", "Leave one of the rows out.",
        )  # fmt: skip
    table = told.pivot(index="judge", columns="key", values=column)
    if table.isna().any(axis=None):
        judge = table.index[table.isna().any(axis=1)][0]
        missing = table.columns[table.loc[judge].isna()][0].replace("\x1f", " ")
        raise UserError(
            f"{name}: judge {judge}", f"no judgement of {missing}", "every judge on every item",
            "Complete the table, or leave the judge out.",
        )  # fmt: skip
    return table


def read_ebel(path: Path | str, shares: Path | str, marks: Marks) -> Ebel:
    """Ebel's mark for the items of `marks`; stations count alike, items by their marks.

    `path`: each judge's relevance and difficulty of every item, in any words. `shares`: the share
    of marks that a student who just passes is expected to earn in each such cell; with several rows
    for a cell (one a judge) their mean counts.
    """
    raw = open_table(path, PLACED)
    place = raw.cells["relevance"].str.strip() + "\x1f" + raw.cells["difficulty"].str.strip()
    empty = raw.cells[(raw.cells[["relevance", "difficulty"]] == "").any(axis=1)]
    if len(empty):
        raise UserError(
            f"{raw.name}: row {empty.index[0]}", "an empty cell", "relevance and difficulty", ""
        )
    table = _by_judge(raw.name, raw.cells.assign(place=place), "place")
    placed = [[_cell(p) for p in row] for row in table.to_numpy()]
    return ebel_mark(placed, _shares(shares), _weights(raw.name, list(table.columns), marks))


def _cell(text: str) -> tuple[str, str]:
    relevance, difficulty = text.casefold().split("\x1f")
    return relevance, difficulty


def _shares(path: Path | str) -> dict[tuple[str, str], float]:
    raw = open_table(path, SHARES)
    faults = Faults(raw.name)
    expected = parse_numbers(raw.cells["expected"], faults)
    faults.cells(expected[~((expected >= 0) & (expected <= 1))], "a share from 0 to 1", "")
    faults.raise_all()
    place = raw.cells["relevance"].str.strip() + "\x1f" + raw.cells["difficulty"].str.strip()
    return {
        _cell(str(k)): float(v) for k, v in expected.groupby(place.str.casefold()).mean().items()
    }


def _weights(
    name: str, keys: list[str], marks: Marks
) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
    """Share of the examination's 100 marks that each judged item carries."""
    items = marks.table.drop_duplicates(["station", "item"])
    worth = (items["weight"] * items["maximum"]).to_numpy(dtype=float)
    found = dict(zip(items["station"] + "\x1f" + items["item"], worth, strict=True))
    strange = [key for key in keys if key not in found]
    if strange or len(keys) != len(found):
        odd = (strange or [key for key in found if key not in set(keys)])[0].replace("\x1f", " ")
        raise UserError(
            name, f"{odd} in one table only", "the same stations and items as the marks", ""
        )
    station = np.array([key.split("\x1f")[0] for key in keys])
    value = np.array([found[key] for key in keys])
    stations, place = np.unique(station, return_inverse=True)
    return 100 * value / np.bincount(place, value)[place] / stations.size
