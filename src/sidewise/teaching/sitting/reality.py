"""Judges' expectations beside what students did: reality data between rounds of Angoff's method.

A judge says which share of students who just pass would earn an item. Those who were rated
borderline at the station are the nearest to such students that there are; all students stand beside
them. Differences are for the judges' next round, not a correction of the mark: students rated
borderline are few, and the rating is another judgement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.teaching.pass_marks.borderline import borderline_rating
from sidewise.teaching.pass_marks.judged import JudgedItems
from sidewise.teaching.sitting.sitting import Sitting

# Fewer borderline performances than this say nothing of an item: our judgement.
FEWEST_BORDERLINE = 5


@dataclass(frozen=True, slots=True)
class ItemReality:
    """One item: what judges expect of a student who just passes (mean, standard deviation between
    judges), and the share of its marks that borderline students (NaN: fewer than five) and all
    students earned."""

    station: str
    item: str
    expected: float
    spread: float
    borderline: float
    borderline_n: int
    everybody: float


@dataclass(frozen=True, slots=True)
class JudgeReality:
    """One judge: `mark` in percent; `lean` how much more is expected than borderline students
    earned, weighted by marks, in percent; `apart` the mean absolute difference; `link` the
    correlation with them over items. NaN where too few were borderline."""

    judge: str
    mark: float
    lean: float
    apart: float
    link: float


@dataclass(frozen=True, slots=True)
class JudgesReality:
    """Items and judges beside what students did."""

    items: tuple[ItemReality, ...]
    judges: tuple[JudgeReality, ...]

    @property
    def sentence(self) -> str:
        """In words, for the page and the text."""
        known = [j.lean for j in self.judges if j.lean == j.lean]
        if not known:
            return (
                "Too few students were rated borderline to hold the judges' expectations against."
            )
        lean = float(np.mean(known))
        way = "more" if lean >= 0 else "less"
        links = ", ".join(f"{j.judge} {j.link:.2f}" for j in self.judges if j.link == j.link)
        return (
            f"Judges expect {abs(lean):.1f} percent {way} than students rated borderline earned. "
            f"Correlation over items with what these earned: {links}."
        )


def judges_reality(e: Sitting) -> JudgesReality | None:
    """Angoff's judges beside this sitting's students; None where no judges' table was given."""
    judged = e.options.angoff.judged if e.options.angoff is not None else None
    if judged is None:
        return None
    rows = [_earned(e, *key) for key in judged.keys]
    items = tuple(
        ItemReality(station, item, float(judged.expected[:, k].mean()),
                    _sd(judged.expected[:, k]), *rows[k])
        for k, (station, item) in enumerate(judged.keys)
    )  # fmt: skip
    real = np.array([row[0] for row in rows])
    judges = tuple(_judge(judged, j, real) for j in range(len(judged.judges)))
    return JudgesReality(items, judges)


def _sd(x: Array) -> float:
    return float(x.std(ddof=1)) if x.size > 1 else float("nan")


def _earned(e: Sitting, station: str, item: str) -> tuple[float, int, float]:
    """Share earned by borderline students, how many they are, and by all."""
    if station not in e.table.stations:
        return float("nan"), 0, float("nan")
    table = e.marks.table
    own = table[(table["station"] == station) & (table["item"] == item) & table["mark"].notna()]
    own = own[~own["linking"].astype(bool)]
    share = (own["mark"] / own["maximum"]).to_numpy(dtype=float)
    scale = e.marks.scale
    at = borderline_rating(scale.standing, scale.borderline)
    ratings = scale.at_positions(e.table.rating[:, e.table.stations.index(station)])
    place = dict(zip(e.table.students, ratings, strict=True))
    rating = np.array([place.get(student, np.nan) for student in own["student"]])
    border = (rating > at.low) & (rating < at.high)
    many = int(border.sum())
    mean = float(share[border].mean()) if many >= FEWEST_BORDERLINE else float("nan")
    return mean, many, float(share.mean()) if share.size else float("nan")


def _judge(judged: JudgedItems, j: int, real: Array) -> JudgeReality:
    expected, weight = judged.expected[j], judged.weight
    mark = float(expected @ weight)
    known = np.isfinite(real)
    if known.sum() < 3:
        nan = float("nan")
        return JudgeReality(judged.judges[j], mark, nan, nan, nan)
    share = weight[known] / weight[known].sum()
    gap = 100 * (expected[known] - real[known])
    varies = expected[known].std() > 0 and real[known].std() > 0
    link = float(np.corrcoef(expected[known], real[known])[0, 1]) if varies else float("nan")
    return JudgeReality(
        judged.judges[j], mark, float(share @ gap), float(share @ np.abs(gap)), link
    )
