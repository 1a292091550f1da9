"""The pass mark of the whole examination by borderline regression, and how sure it is.

The examination's mark is the mean of its stations' marks. Its standard error is had in two ways:
by the bootstrap over students (whole rows, so that what a student does at one station stays
together with the others) and by the delta method from each student's influence on every line.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.distributions import t_quantile
from sidewise.ground.estimate import Estimate, no_estimate
from sidewise.teaching.tables.scores import Sheet

DRAWS = 2000
# Beyond this many students the bootstrap only repeats the delta interval and costs memory.
LARGEST_BOOTSTRAP = 20_000
# In larger classes one student moves the mark by less than a tenth of a point.
LARGEST_PULL = 300
# Counts held at once: draws * students of 8 bytes.
BLOCK = 4_000_000


@dataclass(frozen=True, slots=True)
class ExaminationMark:
    """The examination's pass mark (percent) with both intervals, and its stations' marks.

    `stations` are those whose line gives a mark and count towards the mean; `left_out` those that
    have none. `station_bootstrap` has one estimate per entry of `stations`; `drawn` the bootstrap's
    marks, (draws, stations); `pull` by how much each student of the sheet moves the mark: with the
    student less without.
    """

    bootstrap: Estimate
    delta: Estimate
    stations: tuple[str, ...]
    station_cuts: Array
    station_bootstrap: tuple[Estimate, ...]
    left_out: tuple[str, ...]
    warnings: tuple[str, ...]
    drawn: Array = field(repr=False)
    pull: Array = field(repr=False)

    @property
    def value(self) -> float:
        """The pass mark, percent."""
        return self.delta.value

    @property
    def best(self) -> Estimate:
        """The bootstrap estimate where it was done, else the delta estimate."""
        return self.bootstrap if self.bootstrap.se is not None else self.delta


def examination_mark(
    sheet: Sheet, borderline: float, *, draws: int = DRAWS, seed: int = 1
) -> ExaminationMark:
    """Mean of the stations' borderline-regression marks, with bootstrap and delta intervals.

    `draws` bootstrap samples of students (0: none); percentile interval. Stations without a
    rising line are left out and named. The same `seed` gives the same interval; students are
    ordered by name first, so the order of rows does not matter.
    """
    order = np.argsort(np.array(sheet.students))
    score, rating = sheet.score[order], sheet.rating[order]
    found = _lines(_moments(score, rating), np.ones((1, len(order))), borderline)
    lines = np.where(found.slope[0] > 0, found.cut[0], np.nan)
    usable = np.isfinite(lines)
    names = tuple(s for s, ok in zip(sheet.stations, usable, strict=True) if ok)
    lost = tuple(s for s, ok in zip(sheet.stations, usable, strict=True) if not ok)
    if not names:
        return _none(lost)
    score, rating = score[:, usable], rating[:, usable]
    boot = _bootstrap(score, rating, borderline, draws, seed)
    cuts = lines[usable]
    warnings = (*_lost(lost), *_few(names, boot.slope))
    return ExaminationMark(
        bootstrap=_percentiles(float(cuts.mean()), boot.cut.mean(axis=1)),
        delta=_delta(score, rating, borderline, cuts),
        stations=names,
        station_cuts=cuts,
        station_bootstrap=tuple(
            _percentiles(float(cuts[j]), boot.cut[:, j]) for j in range(len(names))
        ),
        left_out=lost,
        warnings=warnings,
        drawn=boot.cut,
        pull=_pull(score, rating, borderline, float(cuts.mean()))[np.argsort(order)],
    )


def _none(lost: tuple[str, ...]) -> ExaminationMark:
    why = "no station has marks that rise with its ratings"
    return ExaminationMark(
        no_estimate(why),
        no_estimate(why),
        (),
        np.array([]),
        (),
        lost,
        _lost(lost),
        np.empty((0, 0)),
        np.empty(0),
    )


def _lost(lost: tuple[str, ...]) -> tuple[str, ...]:
    if not lost:
        return ()
    return (f"No pass mark by borderline regression at: {', '.join(lost)}; left out of the mean.",)


def _few(names: tuple[str, ...], slope: Array) -> tuple[str, ...]:
    """Draws whose line falls are kept (its value at the rating is still defined), and counted."""
    draws = slope.shape[0]
    falling = (slope <= 0).sum(axis=0)
    return tuple(
        f"At {name} marks did not rise with ratings in {count:,} of {draws:,} bootstrap draws: its "
        "pass mark is little more than a guess and makes that of the examination less sure."
        for name, count in zip(names, falling, strict=True)
        if count > 0.05 * max(1, draws)
    )


def _moments(score: Array, rating: Array) -> Array:
    """Per student the five sums that a line needs, shape (students, 5, stations)."""
    known = ~(np.isnan(score) | np.isnan(rating))
    y, g = np.where(known, score, 0.0), np.where(known, rating, 0.0)
    return np.stack([known.astype(float), g, y, g * g, g * y], axis=1)


@dataclass(frozen=True, slots=True)
class _Lines:
    """Slopes and values at the borderline rating, both (draws, stations); NaN where undefined."""

    slope: Array
    cut: Array


def _lines(moments: Array, weight: Array, borderline: float) -> _Lines:
    """The stations' lines for weights of students of shape (draws, students)."""
    students, _, stations = moments.shape
    sums = (weight @ moments.reshape(students, 5 * stations)).reshape(-1, 5, stations)
    n, g, y, gg, gy = (sums[:, i, :] for i in range(5))
    with np.errstate(invalid="ignore", divide="ignore"):
        sgg, sgy = gg - g * g / n, gy - g * y / n
        slope = np.where((sgg > 1e-9) & (n >= 3), sgy / sgg, np.nan)
        return _Lines(slope, y / n + slope * (borderline - g / n))


def _bootstrap(score: Array, rating: Array, borderline: float, draws: int, seed: int) -> _Lines:
    students, stations = score.shape
    if draws == 0 or students > LARGEST_BOOTSTRAP or students < 3:
        return _Lines(np.empty((0, stations)), np.empty((0, stations)))
    moments, rng = _moments(score, rating), np.random.default_rng(seed)
    block = max(1, min(draws, BLOCK // students))
    parts = [
        _lines(moments, _counts(rng, min(block, draws - start), students), borderline)
        for start in range(0, draws, block)
    ]
    return _Lines(np.concatenate([p.slope for p in parts]), np.concatenate([p.cut for p in parts]))


def _pull(score: Array, rating: Array, borderline: float, mark: float) -> Array:
    """The mark less the mark without each student; 0 where that is too little to matter."""
    students = score.shape[0]
    if students > LARGEST_PULL:
        return np.zeros(students)
    without = _lines(_moments(score, rating), 1 - np.eye(students), borderline).cut.mean(axis=1)
    return np.where(np.isfinite(without), mark - without, 0.0)


def _counts(rng: np.random.Generator, draws: int, students: int) -> Array:
    """How often each student is drawn: (draws, students)."""
    picks = rng.integers(0, students, size=(draws, students))
    picks += np.arange(draws)[:, None] * students
    return np.bincount(picks.ravel(), minlength=draws * students).reshape(draws, -1).astype(float)


def _percentiles(value: float, drawn: Array) -> Estimate:
    known = drawn[np.isfinite(drawn)]
    if known.size < 100:
        return Estimate(value, note="no bootstrap")
    low, high = np.quantile(known, [0.025, 0.975])
    se = float(known.std(ddof=1))
    return Estimate(value, float(low), float(high), se, f"bootstrap, {known.size} draws")


def _delta(score: Array, rating: Array, borderline: float, cuts: Array) -> Estimate:
    """Sum over stations of each student's influence on the line, then its spread."""
    m = _moments(score, rating)
    known, (n, g, y) = m[:, 0], m[:, :3].sum(axis=0)
    gbar, ybar = g / n, y / n
    gc = np.where(known > 0, m[:, 1] - gbar, 0.0)
    yc = np.where(known > 0, m[:, 2] - ybar, 0.0)
    sgg = (gc * gc).sum(axis=0)
    slope = (gc * yc).sum(axis=0) / sgg
    residual = np.where(known > 0, yc - slope * gc, 0.0)
    leverage = known / n + gc * (borderline - gbar) / sgg
    # Two numbers are fitted per line: the usual n / (n - 2), as in the line's own standard error.
    influence = (leverage * residual * np.sqrt(n / np.maximum(n - 2, 1))).mean(axis=1)
    se = float(np.sqrt((influence**2).sum()))
    value, df = float(cuts.mean()), max(score.shape[0] - 2, 1)
    half = float(t_quantile(0.975, df)) * se
    return Estimate(value, value - half, value + half, se, "delta method over students")
