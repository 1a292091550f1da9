"""The items of one station's mark sheet: how easy each is and how it goes with the others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from sidewise.teaching.reliability.consistency import Consistency, consistency

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class ItemFigures:
    """One item: mean share of its marks (0-1), correlation with the other items, blank marks."""

    item: str
    facility: float
    discrimination: float
    blank: int


@dataclass(frozen=True, slots=True)
class ItemAnalysis:
    """The consistency of a station's items and one entry per item."""

    consistency: Consistency
    items: tuple[ItemFigures, ...]


def item_analysis(marks: pd.DataFrame) -> ItemAnalysis:
    """Items of one station, from its rows of marks; a performance is a student with an examiner."""
    import pandas as pd

    row = _performance(marks)
    column, names = pd.factorize(marks["item"])
    mark = np.full((int(row.max()) + 1, len(names)), np.nan)
    mark[row, column] = marks["mark"].to_numpy(dtype=float)
    first = np.unique(column, return_index=True)[1]
    maximum = marks["maximum"].to_numpy(dtype=float)[first]
    weight = marks["weight"].to_numpy(dtype=float)[first]
    own = consistency(mark * weight)
    present = np.bincount(column, minlength=len(names))
    given = (~np.isnan(mark)).sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        facility = np.nansum(mark, axis=0) / given / maximum
    figures = tuple(
        ItemFigures(str(name), float(easy), float(rest), int(there - marked))
        for name, easy, rest, there, marked in zip(
            names, facility, own.item_rest, present, given, strict=True
        )
    )
    return ItemAnalysis(own, figures)


def _performance(marks: pd.DataFrame) -> NDArray[np.intp]:
    import pandas as pd

    student, _ = pd.factorize(marks["student"])
    examiner, names = pd.factorize(marks["examiner"])
    return pd.factorize(student * (len(names) + 1) + examiner)[0]
