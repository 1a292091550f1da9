"""More stations for those near the mark: who would be recalled, and what it would settle.

Everybody sits the first stations. Who reaches the pass mark and a margin above it is done; the
others sit more stations and are decided on all of them together (Pell G, Fuller R, Homer M, Roberts
T, Med Educ 2013;47:569-577, abstract read: 13.5% of 228 recalled). The forecast draws true scores
from their posterior, adds the further stations' errors, and counts wrong decisions before and
after; the pass mark is held fixed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.teaching.pass_marks.true_scores import TrueScores
from sidewise.teaching.tables.scores import Sheet

MARGINS = (1.0, 2.0)
REPEATS = 1000


@dataclass(frozen=True, slots=True)
class RecallForecast:
    """Recall below the mark plus `margin` standard errors of measurement, for `more` stations.

    `recalled` are the students; `passing` how many of them are expected to pass on all stations
    together. `wrong_now` and `wrong_then` are the expected wrong decisions by total among all
    complete students, without and with the recall.
    """

    margin: float
    more: int
    recalled: tuple[str, ...]
    passing: float
    wrong_now: float
    wrong_then: float


def recall_forecast(
    table: Sheet, true: TrueScores, mark: float, sem: float, more: int, seed: int = 1
) -> tuple[RecallForecast, ...]:
    """Forecasts for a margin of one and of two standard errors; `mark` and `sem` in percent."""
    place = {name: i for i, name in enumerate(true.students)}
    rows = [i for i in np.flatnonzero(table.complete) if table.students[i] in place]
    who = np.array([place[table.students[i]] for i in rows], dtype=int)
    total = table.total()[rows]
    level = float(total.mean() - true.mean[who].mean())
    rng = np.random.default_rng(seed)
    draws = rng.integers(0, true.centre.shape[0], REPEATS)
    score = level + rng.normal(true.centre[draws][:, who], true.sd[draws][:, who])
    error = np.sqrt((true.rest + true.examiner)[draws] / more + true.session[draws])
    again = score + error[:, None] * rng.normal(size=score.shape)
    stations = len(table.stations)
    both = (stations * total + more * again) / (stations + more)
    names = [table.students[i] for i in rows]
    return tuple(
        _forecast(names, total, score, both, mark, sem * margin, margin, more) for margin in MARGINS
    )


def _forecast(
    names: list[str], total: Array, score: Array, both: Array, mark: float, reach: float,
    margin: float, more: int,
) -> RecallForecast:  # fmt: skip
    back = total < mark + reach
    right, now = score >= mark, total >= mark
    then = np.where(back, both >= mark, now)
    return RecallForecast(
        margin, more, tuple(name for name, b in zip(names, back, strict=True) if b),
        float((both >= mark)[:, back].sum(axis=1).mean()),
        float((right != now).sum(axis=1).mean()), float((right != then).sum(axis=1).mean()),
    )  # fmt: skip
