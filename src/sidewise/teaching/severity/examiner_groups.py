"""Do examiners mark groups of students unlike: examiner by group, within students.

A student's mark before an examiner is held against the same student's marks elsewhere, so ability
does not enter. Each examiner's gap between a group and the rest is held against the middle of all
examiners' gaps for that group: what is common to all examiners looks like ability and cannot be
told here. A gap is a reason to look, not a fault: examiner and station may not be told apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.teaching.severity.group_comparison import (
    FAMILY_ERROR,
    Welch,
    shown_groups,
    welch_difference,
)
from sidewise.teaching.severity.severity_test import holm_adjusted_p

if TYPE_CHECKING:
    import pandas as pd

# Fewer marks of a group by one examiner are neither shown nor of use: our judgement.
FEWEST_MARKS = 5


@dataclass(frozen=True, slots=True)
class ExaminerGap:
    """One examiner and group: marks given to the group less those to the rest, each beside the
    student's own marks elsewhere and beside the middle of all examiners, in points, with 95%
    limits; p by Holm over examiners and groups."""

    examiner: str
    group: str
    n: int
    rest: int
    gap: float
    low: float
    high: float
    p_adjusted: float
    verdict: str


def examiner_group_gaps(
    scores: pd.DataFrame, group: str, *, response: str = "score"
) -> tuple[ExaminerGap, ...]:
    """Examiner by group for groups large enough to be shown (see `compare_groups`).

    Gap of a mark = its deviation from the station's mean less the mean of the student's deviations
    at the other stations; Welch's t by examiner, group less rest, with five marks at least on both
    sides. Of two groups the second's gap is the first's turned round: shown once.
    """
    for column in ("student", "station", "examiner", group, response):
        if column not in scores.columns:
            raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    rows = scores[["student", "station", "examiner", group, response]].dropna()
    names = shown_groups(rows, group)
    rows = rows[rows[group].astype(str).isin(names)]
    if len(names) < 2 or rows.empty:
        return ()
    gap = _gaps(rows, response)
    belongs, examiner = rows[group].astype(str).to_numpy(), rows["examiner"].to_numpy()
    found: list[tuple[str, str, int, int, Welch]] = []
    for name in names if len(names) > 2 else names[:1]:
        own = belongs == name
        for who in sorted(set(examiner)):
            mine = (examiner == who) & np.isfinite(gap)
            one, rest = gap[mine & own], gap[mine & ~own]
            if min(one.size, rest.size) >= FEWEST_MARKS:
                found.append((str(who), name, one.size, rest.size, welch_difference(one, rest)))
    if not found:
        return ()
    middle = {
        name: _middle([f[4] for f in found if f[1] == name]) for name in {f[1] for f in found}
    }
    moved = [(w, n, a, b, t.moved(*middle[n])) for w, n, a, b, t in found]
    adjusted = holm_adjusted_p(np.array([f[4].p for f in moved]))
    return tuple(
        ExaminerGap(who, name, a, b, t.difference, t.low, t.high, float(p),
                    "look at these marks" if p < FAMILY_ERROR else "no gap seen")
        for (who, name, a, b, t), p in zip(moved, adjusted, strict=True)
    )  # fmt: skip


def _middle(gaps: list[Welch]) -> tuple[float, float, float]:
    """The median gap, a scale of 1, and the median's standard error: sqrt(pi / 2) of the mean's."""
    error = float(np.median([t.error for t in gaps])) * float(np.sqrt(np.pi / 2 / len(gaps)))
    return float(np.median([t.difference for t in gaps])), 1.0, error


def _gaps(rows: pd.DataFrame, response: str) -> Array:
    """Each mark's deviation from its station's mean, less the student's mean deviation at the other
    stations; NaN for whoever has no other station."""
    import pandas as pd

    mark = rows[response].to_numpy(dtype=float)
    station, student = (pd.factorize(rows[c])[0] for c in ("station", "student"))
    deviation = mark - (np.bincount(station, mark) / np.bincount(station))[station]
    cell = student.astype(np.int64) * (int(station.max()) + 1) + station
    kinds, at = np.unique(cell, return_inverse=True)
    mean = np.bincount(at, deviation) / np.bincount(at)
    who = kinds // (int(station.max()) + 1)
    total, many = np.bincount(who, mean), np.bincount(who)
    with np.errstate(invalid="ignore", divide="ignore"):
        others = (total[student] - mean[at]) / (many[student] - 1)
    return np.asarray(np.where(many[student] > 1, deviation - others, np.nan))
