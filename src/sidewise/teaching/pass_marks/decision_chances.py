"""The chance that a decision by all rules together would be the other.

The right decision on a student is the one that examinations of this kind would give most often at
the student's true score: a total at or above the pass mark, and enough stations passed. It is found
by simulation over the students' marks at stations, over examiners and over the pass marks that
other cohorts would have set; the true score is drawn from its posterior (`true_scores`).

Every rule asks a student for a least true score in each simulated examination, so only that score
is needed: T = max(pass mark - error of the total, the k-th smallest of the stations' marks less
their errors). At the right decision's border half of the simulated T lie below.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.teaching.pass_marks.true_scores import TrueScores
from sidewise.teaching.tables.scores import Sheet

PASS_MARKS, REPEATS = 200, 300
# The borders' distribution is carried on by this many equally likely points.
POINTS = 41
# A station's own spread is believed as if the common one had been seen on this many students.
BORROWED = 10
# Fewer stations tell nothing of how far their marks differ truly.
FEWEST_DRAWN = 3


@dataclass(frozen=True, slots=True)
class CutDraws:
    """Pass marks that other cohorts might have set, percent of raw marks.

    `total` (draws,) is the mark that decides, with whatever the rule adds; `stations` (draws,
    stations) those of the sheet's stations, NaN where a station has none. `pull` (students,) is by
    how much each student's own marks have moved the mark: a lucky student lifts it too, so the mark
    without the student is the one whose errors are not the student's. Empty: not at all.
    """

    total: Array
    stations: Array
    pull: Array = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True, slots=True)
class DecisionChances:
    """Per student of a sheet: chances of passing by all rules together.

    `right` that passing is the right decision; `again` that a second such examination would pass
    the student. NaN where the student has no true score.
    """

    right: Array
    again: Array


def decision_chances(
    table: Sheet, scores: TrueScores, cuts: CutDraws, needed: int, seed: int = 1
) -> DecisionChances:
    """Chances of every student of `table`; `needed` is the least number of stations (0: none)."""
    centre, sd = _aligned(table, scores)
    middle = centre.mean(axis=0)
    errors = _errors(table, scores, middle, cuts.total.size, np.random.default_rng(seed))
    asked = _asked(table, middle, cuts, needed, errors)
    if needed:
        settled = _settled(table, middle, cuts)
        right = np.median(_asked(table, middle, settled, needed, errors), axis=1)
    else:
        right = _by_total(table, middle, cuts)
    ahead = centre + cuts.pull if cuts.pull.size else centre
    return DecisionChances(
        _above(ahead, sd, _points(right)), _above(ahead, sd, _points(asked.ravel()))
    )


def _aligned(table: Sheet, scores: TrueScores) -> tuple[Array, Array]:
    """Posterior means and spreads in the order of the sheet; NaN for whoever has none."""
    place = {name: i for i, name in enumerate(scores.students)}
    index = np.array([place.get(name, -1) for name in table.students])
    centre, sd = scores.centre[:, index], scores.sd[:, index]
    return np.where(index >= 0, centre, np.nan), np.where(index >= 0, sd, np.nan)


def _levels(table: Sheet, centre: Array) -> Array:
    """What a student at the cohort's mean scores at each station."""
    gap = table.score - centre[:, None]
    return np.asarray(np.nanmean(gap, axis=0))


def _by_total(table: Sheet, centre: Array, cuts: CutDraws) -> Array:
    return np.asarray(cuts.total - _levels(table, centre).mean())


def _settled(table: Sheet, centre: Array, cuts: CutDraws) -> CutDraws:
    """Marks that stations truly have, seen through those that one cohort's lines gave.

    A station's mark lies at some distance above its level. The distances found differ more than the
    true ones, by the error of every line; drawn once more, that error would count twice and the
    hardest stations would look harder than any are. So distances are drawn towards their mean by
    the share of their spread that is error (empirical Bayes), their mean as it was drawn.
    """
    levels = _levels(table, centre)
    gap = cuts.stations - levels
    known = np.isfinite(gap).all(axis=0)
    if known.sum() < FEWEST_DRAWN:
        return cuts
    common = gap[:, known].mean(axis=1, keepdims=True)
    own = gap[:, known] - common
    found = own.mean(axis=0)
    error = own - found
    spread, noise = float(found.var(ddof=1)), float(error.var(axis=0).mean())
    true = max(0.0, 1 - noise / spread) if spread > 0 else 0.0
    stations = cuts.stations.copy()
    stations[:, known] = levels[known] + common + true * found + np.sqrt(true) * error
    return CutDraws(cuts.total, stations, cuts.pull)


def _asked(table: Sheet, centre: Array, cuts: CutDraws, needed: int, errors: Array) -> Array:
    """The true score that each simulated examination asks for: (pass marks, repeats)."""
    levels = _levels(table, centre)
    total = cuts.total[:, None] - levels.mean() - errors.mean(axis=2)
    if not needed:
        return np.asarray(total)
    gap = np.where(np.isnan(cuts.stations), np.inf, cuts.stations - levels)
    place = min(needed, levels.size) - 1
    stations = np.partition(gap[:, None, :] - errors, place, axis=2)
    return np.asarray(np.maximum(total, stations[:, :, place]))


def _errors(
    table: Sheet, scores: TrueScores, centre: Array, draws: int, rng: np.random.Generator
) -> Array:
    """Errors of one student's station marks: (pass marks, repeats, stations)."""
    shape = (draws, REPEATS, len(table.stations))
    pick = rng.integers(0, scores.rest.size, draws)
    rest = scores.rest[pick][:, None] * _unequal(table, centre) + scores.examiner[pick][:, None]
    errors = rng.normal(size=shape) * np.sqrt(rest)[:, None, :]
    session = np.sqrt(scores.session[pick])[:, None] * rng.normal(size=shape[:2])
    return np.asarray(errors + session[:, :, None])


def _unequal(table: Sheet, centre: Array) -> Array:
    """Each station's variance about the true scores, over the mean of all, drawn towards 1."""
    gap = table.score - centre[:, None]
    count = np.isfinite(gap).sum(axis=0)
    variance = np.nanvar(gap, axis=0)
    share = variance / max(float(variance.mean()), 1e-9)
    drawn = (count * share + BORROWED) / (count + BORROWED)
    return np.asarray(drawn / drawn.mean())


def _points(values: Array) -> Array:
    """Equally likely points that stand for many values."""
    known = values[np.isfinite(values)]
    if not known.size:
        # More stations are asked for than have a mark: no score is enough.
        return np.full(1, np.inf if np.isposinf(values).any() else np.nan)
    return np.asarray(np.quantile(known, (np.arange(POINTS) + 0.5) / POINTS))


def _above(centre: Array, sd: Array, points: Array) -> Array:
    """Probability that the true score is at or above the border, over all draws of both."""
    from scipy.special import ndtr

    out = np.zeros(centre.shape[1])
    for point in points:
        out += ndtr((centre - point) / sd).mean(axis=0)
    return out / points.size
