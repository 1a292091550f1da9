"""From marks to scores: per performance, per student and station, per student."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from sidewise.ground.arrays import Array, BoolArray
from sidewise.teaching.tables.questions import SheetQuestion

if TYPE_CHECKING:
    import pandas as pd

KEY = ["sitting", "student", "station", "examiner"]


def station_scores(marks: pd.DataFrame) -> pd.DataFrame:
    """One row per (sitting, student, station, examiner): the performance's score and rating.

    `score` = 100 * sum(weight * mark) / sum(weight * maximum), percent; `raw` and `possible` are
    the two sums. A performance with any blank mark has no score (NaN): blank is not zero.
    `global_rating` is the one given (NaN if none), `critical_error` true if any row says so.
    """
    group, first = _groups(marks)
    count = first.size
    weight = marks["weight"].to_numpy(dtype=float)
    earned = np.bincount(group, weight * marks["mark"].to_numpy(dtype=float), count)
    possible = np.bincount(group, weight * marks["maximum"].to_numpy(dtype=float), count)
    columns = ["sitting", "circuit", "session", "student", "station", "examiner"]
    scores: pd.DataFrame = marks[columns].iloc[first].reset_index(drop=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        scores["score"] = np.where(possible > 0, 100 * earned / possible, np.nan)
    scores["raw"], scores["possible"] = earned, possible
    scores["global_rating"] = _given(marks["global_rating"].to_numpy(dtype=float), group, count)
    serious = marks["critical_error"].to_numpy(dtype=float)
    scores["critical_error"] = np.bincount(group, serious, count) > 0
    if "time" in marks:
        scores["time"] = _given(marks["time"].to_numpy(dtype=float), group, count)
    return scores


def _groups(marks: pd.DataFrame) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """The performance of each row, in order of first appearance, and where each first appears."""
    import pandas as pd

    key = np.zeros(len(marks), dtype=np.int64)
    for column in KEY:
        codes, seen = pd.factorize(marks[column])
        key = pd.factorize(key * (len(seen) + 1) + codes)[0].astype(np.int64)
    first = np.unique(key, return_index=True)[1]
    return key.astype(np.intp), first


def _given(values: Array, group: NDArray[np.intp], count: int) -> Array:
    """The value given anywhere in the group; NaN when nowhere."""
    out = np.full(count, np.nan)
    known = ~np.isnan(values)
    out[group[known]] = values[known]
    return out


@dataclass(frozen=True, slots=True)
class Sheet:
    """Students by stations: the table that most statistics start from.

    `score` (percent) and `rating` (place on the scale) have shape (students, stations); NaN where
    a student has none. Where several examiners marked a performance both are their mean.
    `critical` is true where any of them recorded a critical error.
    """

    students: tuple[str, ...]
    stations: tuple[str, ...]
    score: Array
    rating: Array
    critical: BoolArray

    @property
    def complete(self) -> BoolArray:
        """Which students have a score at every station."""
        return np.asarray(~np.isnan(self.score).any(axis=1))

    def total(self) -> Array:
        """Each student's mean over stations, percent; NaN for whoever lacks a station."""
        return self.score.mean(axis=1) if self.stations else np.full(len(self.students), np.nan)

    def without(self, station: str) -> Sheet:
        """The same sheet with one station left out."""
        keep = np.array([name != station for name in self.stations])
        names = tuple(name for name in self.stations if name != station)
        return Sheet(
            self.students, names, self.score[:, keep], self.rating[:, keep], self.critical[:, keep]
        )


def score_sheet(scores: pd.DataFrame) -> Sheet:
    """Scores of one sitting as students by stations (both in order of first appearance)."""
    import pandas as pd

    sittings = scores["sitting"].unique()
    if len(sittings) > 1:
        raise SheetQuestion(
            "sitting",
            f"{len(sittings)} sittings ({', '.join(map(str, sittings[:6]))})",
            "one sitting at a time",
            "Choose one with --sitting.",
            "sitting",
            tuple(map(str, sittings)),
        )
    row, students = pd.factorize(scores["student"])
    column, stations = pd.factorize(scores["station"])
    shape = (len(students), len(stations))
    cell = row * shape[1] + column
    score = _mean(scores["score"].to_numpy(dtype=float), cell, shape)
    rating = _mean(scores["global_rating"].to_numpy(dtype=float), cell, shape)
    serious = scores["critical_error"].to_numpy(dtype=float)
    critical = (np.bincount(cell, serious, shape[0] * shape[1]) > 0).reshape(shape)
    names = tuple(map(str, students)), tuple(map(str, stations))
    return Sheet(*names, score, rating, critical)


def _mean(values: Array, cell: Any, shape: tuple[int, int]) -> Array:
    known = ~np.isnan(values)
    size = shape[0] * shape[1]
    total = np.bincount(cell[known], values[known], size)
    count = np.bincount(cell[known], minlength=size)
    with np.errstate(invalid="ignore"):
        mean: Array = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    return mean.reshape(shape)
