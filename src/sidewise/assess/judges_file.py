"""Reading the judges' table for Angoff's method: judge, station, item, expected share (0 to 1)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sidewise.assess.judged_marks import Angoff, angoff
from sidewise.assess.opening import open_table
from sidewise.assess.reading import Marks
from sidewise.assess.row_checks import Faults, numbers
from sidewise.errors import UserError

COLUMNS = ("judge", "station", "item", "expected")


def read_angoff(path: Path | str, marks: Marks) -> Angoff:
    """Angoff's mark for the items of `marks`; stations count alike, items by their marks."""
    import pandas as pd

    raw = open_table(path, COLUMNS)
    faults = Faults(raw.name)
    expected = numbers(raw.cells["expected"], faults)
    faults.cells(expected[~((expected >= 0) & (expected <= 1))], "a share from 0 to 1", "")
    faults.raise_all()
    cells = raw.cells.assign(expected=expected)
    key = cells["station"].str.strip() + "\x1f" + cells["item"].str.strip()
    table = pd.crosstab(cells["judge"].str.strip(), key, values=cells["expected"], aggfunc="mean")
    if table.isna().any(axis=None):
        judge = table.index[table.isna().any(axis=1)][0]
        missing = table.columns[table.loc[judge].isna()][0].replace("\x1f", " ")
        raise UserError(
            f"{raw.name}: judge {judge}", f"no judgement of {missing}", "every judge on every item",
            "Complete the table, or leave the judge out.",
        )  # fmt: skip
    return angoff(table.to_numpy(dtype=float), _weights(raw.name, list(table.columns), marks))


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
