"""Each station's figures, and which stations do not measure what the others do.

No single figure condemns a station (Pell G, Fuller R, Homer M, Roberts T, Med Teach 2010;32:
802-811, abstract read): they are shown together, each with its interval where it has one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.estimate import Estimate
from sidewise.teaching.pass_marks.borderline import (
    BorderlineGroup,
    BorderlineRegression,
    ContrastingGroups,
    borderline_group,
    borderline_rating,
    borderline_regression,
    contrasting_groups,
)
from sidewise.teaching.reliability.between_circuits import BetweenGroups, between_groups
from sidewise.teaching.reliability.consistency import Consistency, consistency, correlation_interval
from sidewise.teaching.reliability.item_analysis import ItemFigures, item_analysis
from sidewise.teaching.tables.columns import RatingScale
from sidewise.teaching.tables.scores import Sheet

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, slots=True)
class MarksAgainstRatings:
    """Marks against the examiner's judgement: who passes by which; borderline passes."""

    both_pass: int
    marks_only: int
    rating_only: int
    both_fail: int

    @property
    def disagree(self) -> int:
        """How many would pass by one and fail by the other."""
        return self.marks_only + self.rating_only


@dataclass(frozen=True, slots=True)
class StationFigures:
    """Everything computed for one station. Marks in percent; `grades` counts by place on the scale.

    `facility` is the mean share of the marks (0-1); `discrimination` the correlation with the mean
    of the other stations; `alpha` of its items; `alpha_without` the examination's alpha when this
    station is left out; `failures` how many are below its borderline-regression mark.
    """

    station: str
    n: int
    missing: int
    mean: float
    sd: float
    facility: float
    discrimination: Estimate
    alpha: Estimate
    alpha_without: float
    grades: tuple[int, ...]
    line: BorderlineRegression
    group: BorderlineGroup
    contrast: ContrastingGroups
    failures: int | None
    two_by_two: MarksAgainstRatings | None
    circuits: BetweenGroups
    examiners: BetweenGroups
    items: tuple[ItemFigures, ...]
    signs: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def stands_apart(self) -> bool:
        """Whether every sign of `apart_signs` is there: the station measures something else."""
        return len(self.signs) == SIGNS


SIGNS = 3


def apart_signs(
    discrimination: Estimate, slope: Estimate, alpha: float, alpha_without: float
) -> tuple[str, ...]:
    """The signs that a station does not measure what the others do; all three are needed.

    Our judgement: an interval of the discrimination that includes zero, an interval of the slope
    of marks on ratings that includes zero, and an alpha that rises when the station is left out.
    """
    signs = []
    if discrimination.low is not None and discrimination.low <= 0:
        signs.append("its marks may have nothing to do with the other stations'")
    if slope.low is not None and slope.low <= 0:
        signs.append("its marks may have nothing to do with the examiners' global rating")
    if alpha_without > alpha:
        signs.append("the examination is more consistent without it")
    return tuple(signs)


def station_figures(
    table: Sheet, scores: pd.DataFrame, marks: pd.DataFrame, scale: RatingScale
) -> tuple[StationFigures, ...]:
    """Figures of every station of one sitting, in the order of the sheet.

    `scores` and `marks` are those the sheet was made from; its ratings are places on `scale`.
    """
    whole = consistency(table.score)
    by_station = dict(list(scores.groupby("station", sort=False)))
    items = dict(list(marks.groupby("station", sort=False)))
    return tuple(
        _one(table, place, whole, by_station[name], items[name], scale)
        for place, name in enumerate(table.stations)
    )


def _one(
    table: Sheet,
    place: int,
    whole: Consistency,
    scores: pd.DataFrame,
    marks: pd.DataFrame,
    scale: RatingScale,
) -> StationFigures:
    score, rating = table.score[:, place], scale.at_positions(table.rating[:, place])
    borderline = borderline_rating(scale.standing, scale.borderline)
    line = borderline_regression(score, rating, borderline)
    known = score[~np.isnan(score)]
    discrimination = _discrimination(table, place)
    without = float(whole.alpha_if_deleted[place])
    own = item_analysis(marks)
    signs = apart_signs(discrimination, line.slope, whole.alpha.value, without)
    values = scores["score"].to_numpy(dtype=float)
    return StationFigures(
        station=table.stations[place],
        n=known.size,
        missing=int(np.isnan(score).sum()),
        mean=float(known.mean()) if known.size else float("nan"),
        sd=float(known.std(ddof=1)) if known.size > 1 else float("nan"),
        facility=float(known.mean()) / 100 if known.size else float("nan"),
        discrimination=discrimination,
        alpha=own.consistency.alpha,
        alpha_without=without,
        grades=_counts(table.rating[:, place], len(scale.words)),
        line=line,
        group=borderline_group(score, rating, borderline),
        contrast=contrasting_groups(score, rating, borderline),
        failures=int((known < line.cut.value).sum()) if line.cut.known else None,
        two_by_two=_two_by_two(score, rating, line.cut, borderline.position),
        circuits=between_groups(values, scores["circuit"].to_numpy()),
        examiners=between_groups(values, scores["examiner"].to_numpy()),
        items=own.items,
        signs=signs,
        warnings=line.warnings,
    )


def _discrimination(table: Sheet, place: int) -> Estimate:
    """Correlation of this station with the mean of the others, over students who have all."""
    rows = table.score[table.complete]
    if rows.shape[0] < 3 or rows.shape[1] < 2:
        return correlation_interval(float("nan"), 0)
    own = rows[:, place]
    rest = np.delete(rows, place, axis=1).mean(axis=1)
    if own.std() < 1e-12 or rest.std() < 1e-12:
        return correlation_interval(float("nan"), 0)
    return correlation_interval(float(np.corrcoef(own, rest)[0, 1]), rows.shape[0])


def _counts(rating: Array, grades: int) -> tuple[int, ...]:
    known = np.rint(rating[~np.isnan(rating)]).astype(int)
    return tuple(int(c) for c in np.bincount(known, minlength=grades))


def _two_by_two(
    score: Array, rating: Array, cut: Estimate, borderline: float
) -> MarksAgainstRatings | None:
    known = ~(np.isnan(score) | np.isnan(rating))
    if not cut.known or not known.any():
        return None
    marks, judged = score[known] >= cut.value, rating[known] >= borderline
    return MarksAgainstRatings(
        int((marks & judged).sum()),
        int((marks & ~judged).sum()),
        int((~marks & judged).sum()),
        int((~marks & ~judged).sum()),
    )
