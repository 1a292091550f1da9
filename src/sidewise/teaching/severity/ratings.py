"""Ratings made ready for the many-facet model: categories, and what has to be set aside."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import IntArray

if TYPE_CHECKING:
    import pandas as pd


COLUMNS = ("student", "station", "examiner", "category")
# Seven equally filled groups keep about 95% of what a continuous mark tells of its mean (Cox DR,
# J Am Stat Assoc 1957; 52:543-547, from memory).
GROUPS = 7
MOST_CATEGORIES = 30


def to_categories(
    scores: pd.DataFrame, *, groups: int = GROUPS, column: str = "score"
) -> pd.DataFrame:
    """`scores` with an integer column `category`, 0 to `groups` - 1, for the many-facet model.

    Marks are cut at the quantiles of all marks together, so that categories are about equally
    filled; equal marks always share a category, so there may be fewer groups. Rows without a mark
    are left out.
    """
    if not 2 <= groups <= MOST_CATEGORIES:
        raise UserError("groups", groups, f"from 2 to {MOST_CATEGORIES}")
    if column not in scores.columns:
        raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    kept = scores[scores[column].notna()].copy()
    values = kept[column].to_numpy(dtype=float)
    if not np.isfinite(values).all():
        raise UserError(column, "an infinite mark", "finite marks")
    if len(values) == 0:
        raise UserError(column, "no marks", "at least a few marks")
    edges = np.unique(np.quantile(values, np.arange(1, groups) / groups))
    codes = np.searchsorted(edges, values, side="right")
    kept["category"] = np.unique(codes, return_inverse=True)[1].astype(np.int64)
    return kept


@dataclass(frozen=True)
class Ratings:
    """Codes from zero with their names; `kept` marks the rows of the frame that were used.

    `extreme_examiners` and `extreme_stations` gave or saw only the lowest or only the highest
    category: they have no finite measure and their ratings were set aside.
    """

    student: IntArray
    station: IntArray
    examiner: IntArray
    category: IntArray
    tops: IntArray
    students: list[str] = field(repr=False)
    stations: list[str]
    examiners: list[str]
    extreme_examiners: tuple[str, ...]
    extreme_stations: tuple[str, ...]
    warnings: tuple[str, ...]


def read_ratings(frame: pd.DataFrame, *, own_steps: bool) -> Ratings:
    """Check the frame, set extremes aside, close gaps in the categories, number everything."""
    rows = _checked(frame)
    warnings: list[str] = []
    if len(rows) < len(frame):
        warnings.append(f"{len(frame) - len(rows)} rows without a rating were left out.")
    rows, examiners, stations = _without_extremes(rows, warnings)
    student, student_names = _numbered(rows["student"])
    station, station_names = _numbered(rows["station"])
    examiner, examiner_names = _numbered(rows["examiner"])
    category = rows["category"].to_numpy(dtype=np.int64)
    groups = station if own_steps else np.zeros(len(rows), dtype=np.int64)
    category, tops = _without_gaps(category, groups, station_names, own_steps, warnings)
    if not own_steps:
        tops = np.repeat(tops, len(station_names))
    return Ratings(
        student, station, examiner, category, tops, student_names, station_names, examiner_names,
        examiners, stations, tuple(warnings),
    )  # fmt: skip


def _checked(frame: pd.DataFrame) -> pd.DataFrame:
    for column in COLUMNS:
        if column not in frame.columns:
            raise UserError("columns", ", ".join(map(str, frame.columns)), f"a column {column}",
                            "to_categories makes the column category from marks.")  # fmt: skip
    rows = frame.loc[frame["category"].notna(), list(COLUMNS)]
    if rows.empty:
        raise UserError("category", "no ratings", "at least a few ratings")
    values = rows["category"].to_numpy(dtype=float)
    wrong = ~np.isfinite(values) | (values < 0) | (values != np.floor(values))
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise UserError(f"category, row {rows.index[row]}", float(values[row]),
                        "a whole number from 0 up")  # fmt: skip
    for column in COLUMNS[:3]:
        if rows[column].isna().any():
            row = rows.index[rows[column].isna()][0]
            raise UserError(f"{column}, row {row}", None, "a name on every row with a rating")
    if rows["student"].nunique() < 2:
        raise UserError("student", "one student", "at least two students")
    if len(np.unique(values)) < 2:
        raise UserError("category", f"only category {values[0]:g}", "ratings that differ",
                        "Every rating is the same: severity cannot be seen.")  # fmt: skip
    if values.max() > 1000:
        raise UserError("category", float(values.max()), "ordered categories, not marks",
                        "to_categories groups marks into categories.")  # fmt: skip
    return rows


def _without_extremes(
    rows: pd.DataFrame, warnings: list[str]
) -> tuple[pd.DataFrame, tuple[str, ...], tuple[str, ...]]:
    """Repeatedly set aside examiners and stations whose ratings are all at one end."""
    aside: dict[str, list[str]] = {"examiner": [], "station": []}
    found = True
    while found:
        found = False
        for column, names in aside.items():
            low, high = rows["category"].min(), rows["category"].max()
            by = rows.groupby(column, observed=True)["category"]
            least, most = by.min(), by.max()
            ends = least.index[(least == most) & ((least == low) | (least == high))]
            if len(ends) and len(ends) < len(least):
                names += [str(name) for name in ends]
                rows = rows[~rows[column].isin(ends)]
                found = True
    for column, names in aside.items():
        if names:
            warnings.append(
                f"{column} {', '.join(names)}: every rating is at one end of the scale, so there "
                "is no finite measure; these ratings were set aside."
            )
    if rows["category"].nunique() < 2:
        raise UserError("category", "one category besides extremes", "ratings that differ",
                        "Every examiner or station is at one end of the scale.")  # fmt: skip
    return rows, tuple(sorted(aside["examiner"])), tuple(sorted(aside["station"]))


def _numbered(column: pd.Series) -> tuple[IntArray, list[str]]:
    import pandas as pd

    codes, names = pd.factorize(column, sort=True)
    return codes.astype(np.int64), [str(name) for name in names]


def _without_gaps(
    category: IntArray, groups: IntArray, stations: list[str], own_steps: bool, warnings: list[str]
) -> tuple[IntArray, IntArray]:
    """Renumber the categories used (per station where steps are its own): a step to a category
    that nobody used has no finite estimate."""
    closed = category.copy()
    tops = np.empty(int(groups.max()) + 1, dtype=np.int64)
    for group in range(len(tops)):
        mine = groups == group
        used, closed[mine] = np.unique(category[mine], return_inverse=True)
        tops[group] = len(used) - 1
        if len(used) == 1:
            raise UserError(f"station {stations[group]}", f"only category {used[0]}",
                            "ratings that differ", 'Use the model "rating_scale".')  # fmt: skip
        if len(used) <= category.max():
            where = f"station {stations[group]}: " if own_steps else ""
            warnings.append(
                f"{where}not every category was used; those used ({', '.join(map(str, used))}) "
                f"were numbered 0 to {tops[group]}."
            )
    return closed, tops
