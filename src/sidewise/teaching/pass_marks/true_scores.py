"""What each student's true score may be, given all marks: a posterior that shrinks.

A total far from the cohort's mean is far partly by luck, so the true score is nearer the mean than
the total (Kelley's formula; empirical Bayes). Here the variances are not taken as known either:
in a class of twelve they are not.

    y = station + student + examiner + session + rest,  student ~ N(0, v),  rest ~ N(0, w)

Stations are fixed: the pass mark is set on the same ones. `w` is drawn from its scaled inverse chi
squared; v through the share of error B = (w/J) / (v + w/J), one less the reliability, with what is
known of such examinations as its prior: a beta distribution with the mean and spread of published
reliabilities (`knowledge/assessment.yaml`). With many students it does not matter; a class of
twelve whose own reliability comes out as 0 or as 0.95 is mostly a usual class that was unlucky or
lucky. Examiners' and sessions' variances are drawn on the logarithm about their estimates. Given
variances all is normal and solved exactly, students eliminated first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sidewise.ground.arrays import Array, IntArray
from sidewise.ground.interval import Z95
from sidewise.teaching.reliability.variance_components import VarianceComponents
from sidewise.teaching.thresholds import quoted_threshold

if TYPE_CHECKING:
    import pandas as pd

MOST_DRAWS, FEWEST_DRAWS = 96, 12
# Multiplications that all draws together may cost, and numbers they may hold: well under a second.
# The more students, the better the variances are known, and the fewer draws of them are needed.
WORK, HELD = 2e9, 400_000
# A table of so many numbers is kept whole, zeros and all.
DENSE = 250_000
# A logarithm's standard error above this tells nothing more: a factor of seven either way.
WIDEST_LOG = 1.0
# A share of error is drawn from a grid that reaches so many of its standard deviations.
GRID, REACH = 400, 10.0


@dataclass(frozen=True, slots=True)
class TrueScores:
    """True scores beside the sitting's mean mark, percent: a mixture of normals over draws of
    variances. The examiners who were there are part of the sitting's level, as of its pass mark.

    `centre` and `sd` have shape (draws, students), students in the order of `students`; `between`,
    `rest`, `examiner` and `session` are the draws' variances, squared percent.
    """

    students: tuple[str, ...]
    centre: Array
    sd: Array
    between: Array
    rest: Array
    examiner: Array
    session: Array

    @property
    def mean(self) -> Array:
        """Each student's posterior mean."""
        return np.asarray(self.centre.mean(axis=0))


def true_scores(scores: pd.DataFrame, components: VarianceComponents, seed: int = 1) -> TrueScores:
    """Posterior of every student of one sitting from performances and fitted components.

    `scores` has one row per performance (columns student, station, examiner, session, score).
    """
    cells = _cells(scores)
    width = cells.gram.shape[0]
    students = len(cells.students)
    afford = min(WORK / (students * width**2 + 1), HELD / students)
    many = int(np.clip(afford, FEWEST_DRAWS, MOST_DRAWS))
    variances = _variance_draws(cells, components, many, np.random.default_rng(seed))
    solved = [_solve(cells, v) for v in variances]
    return TrueScores(
        cells.students,
        np.array([s.centre for s in solved]),
        np.array([s.sd for s in solved]),
        *np.array([[v.between, v.rest, v.examiner, v.session] for v in variances]).T,
    )


@dataclass(frozen=True, slots=True)
class _Cells:
    """Sums over the student by station means, all that the equations need.

    Columns are what crosses students: stations, examiners, sessions; examiners who share a cell
    have a part of it each. `count` and `total` are by student, `column_total` by column, `seen`
    (students, columns; sparse where it is large) and `gram` (columns, columns) count meetings;
    `together` is, for each number of cells that students have, that number and the sum of seen'
    seen over them; `alike` are the different rows of `seen` and, for every student, which of them
    it is.
    `per_cell` is how many judgements a cell holds on average.
    """

    students: tuple[str, ...]
    count: Array
    total: Array
    seen: Any
    gram: Array
    column_total: Array
    stations: int
    examiners: int
    per_cell: float
    together: tuple[tuple[float, Array], ...]
    alike: tuple[Any, IntArray]

    @property
    def size(self) -> int:
        """How many cells there are."""
        return int(self.count.sum())


def _cells(scores: pd.DataFrame) -> _Cells:
    import pandas as pd
    from scipy.sparse import csr_array

    rows = scores[scores["score"].notna()]
    student, names = pd.factorize(rows["student"])
    station, stations = pd.factorize(rows["station"])
    cell, keys = pd.factorize(student.astype(np.int64) * len(stations) + station)
    share = 1 / np.bincount(cell)[cell]
    parts = [pd.factorize(rows[name]) for name in ("station", "examiner", "session")]
    starts = np.cumsum([0, *(len(levels) for _, levels in parts)])
    column = np.concatenate([codes + at for (codes, _), at in zip(parts, starts, strict=False)])
    x = csr_array(
        (np.tile(share, len(parts)), (np.tile(cell, len(parts)), column)), (len(keys), starts[-1])
    )
    y = np.bincount(cell, share * rows["score"].to_numpy(dtype=float)).astype(float)
    who = np.asarray(keys // len(stations))
    member = csr_array((np.ones(y.size), (who, np.arange(y.size))), (len(names), y.size))
    count, seen = np.bincount(who).astype(float), (member @ x).tocsr()
    together = tuple(
        (float(many), (seen[count == many].T @ seen[count == many]).toarray())
        for many in np.unique(count)
    )
    alike, which = _alike(seen)
    if seen.shape[0] * seen.shape[1] <= DENSE:
        # What sparse tables spare in a class of a year is less than what they ask each time.
        seen, alike = seen.toarray(), alike.toarray()
    return _Cells(
        tuple(map(str, names)), count, np.bincount(who, y).astype(float),
        seen, (x.T @ x).toarray(), x.T @ y, len(stations), len(parts[1][1]),
        len(rows) / y.size, together, (alike, which),
    )  # fmt: skip


def _alike(rows: Any) -> tuple[Any, IntArray]:
    """The different rows of a sparse table, and which of them each row is.

    Whoever went round together met the same stations, examiners and session: a cohort of thousands
    has few different rows, and what hangs on a row alone is worked out once for each.
    """
    rows.sort_indices()
    known: dict[tuple[bytes, bytes], int] = {}
    which = np.empty(rows.shape[0], dtype=np.int64)
    first: list[int] = []
    for i in range(rows.shape[0]):
        here = slice(rows.indptr[i], rows.indptr[i + 1])
        key = rows.indices[here].tobytes(), rows.data[here].tobytes()
        if key not in known:
            known[key] = len(first)
            first.append(i)
        which[i] = known[key]
    return rows[first], which


@dataclass(frozen=True, slots=True)
class _Variances:
    between: float
    rest: float
    examiner: float
    session: float


def _variance_draws(
    cells: _Cells, c: VarianceComponents, many: int, rng: np.random.Generator
) -> list[_Variances]:
    """Draws of the variances of one cell; see the head of this module."""
    students, stations = len(cells.students), cells.stations
    found = c.components
    rest = found.get("student_station", 0.0) + found.get("residual", 0.0) / cells.per_cell
    df = max(1, cells.size - students - stations + 1)
    rests = max(rest, 1e-9) * df / rng.chisquare(df, many)
    each = rests * students / cells.size
    spread = (students - 1) * (found.get("student", 0.0) + rest * students / cells.size)
    error_share = _shares_of_error(spread / each, students - 1, rng)
    between = each * (1 - error_share) / error_share
    examiner = _log_draws(c, "examiner", many, rng)
    session = _log_draws(c, "session", many, rng)
    return [_Variances(*map(float, v)) for v in zip(between, rests, examiner, session, strict=True)]


def _shares_of_error(ratio: Array, df: int, rng: np.random.Generator) -> Array:
    """B from p(B) ~ B^(df/2) exp(-B ratio / 2) times the beta prior, on 0 to 1: by its distribution
    on a grid about its mode, one draw for each of `ratio`."""
    prior, tilt = _usual_error(), ratio / 2
    up, down = df / 2 + prior.a - 1, prior.b - 1
    # The slope of the logarithm, up / B - down / (1 - B) - tilt, is zero at a root of a parabola.
    half = (up + down + tilt) / 2
    mode = up / (half + np.sqrt(half**2 - tilt * up))
    sd = 1 / np.sqrt(up / mode**2 + down / (1 - mode) ** 2)
    low, high = np.maximum(mode - REACH * sd, 1e-6), np.minimum(mode + REACH * sd, 1 - 1e-9)
    at = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, GRID)
    log = up * np.log(at) + down * np.log1p(-at) - tilt[:, None] * at
    density = np.exp(log - log.max(axis=1, keepdims=True))
    below = np.cumsum((density[:, 1:] + density[:, :-1]) / 2, axis=1)
    drawn = [
        np.interp(u * row[-1], np.append(0.0, row), place)
        for u, row, place in zip(rng.uniform(size=ratio.size), below, at, strict=True)
    ]
    return np.asarray(drawn)


@dataclass(frozen=True, slots=True)
class _Beta:
    a: float
    b: float


def _usual_error() -> _Beta:
    """What is known of the share of error before any mark is seen, by mean and spread."""
    mean = 1 - quoted_threshold("usual_reliability").value
    spread = quoted_threshold("usual_reliability_spread").value
    size = mean * (1 - mean) / spread**2 - 1
    return _Beta(mean * size, (1 - mean) * size)


def _log_draws(c: VarianceComponents, name: str, many: int, rng: np.random.Generator) -> Array:
    """A variance about its estimate; one estimated as 0 between 0 and its upper limit."""
    value = c.components.get(name)
    if value is None:
        return np.zeros(many)
    limits = c.intervals.get(name)
    if value <= 0:
        high = limits.high if limits is not None and np.isfinite(limits.high) else 0.0
        return np.asarray(high * (rng.normal(size=many) / Z95) ** 2)
    se = c.standard_errors.get(name, np.nan)
    log_se = min(se / value, WIDEST_LOG) if np.isfinite(se) else WIDEST_LOG
    return np.asarray(value * np.exp(log_se * rng.normal(size=many)))


@dataclass(frozen=True, slots=True)
class _Solved:
    """Students' means and spreads; effects of the crossed columns and their covariance."""

    centre: Array
    sd: Array
    effects: Array
    inverse: Array


def _solve(cells: _Cells, v: _Variances) -> _Solved:
    """Mean and spread of every student given the variances."""
    own = _precision(cells.count, v)
    # What students take away from the equations hangs on how many cells they have: counted once.
    met = np.zeros(cells.gram.shape)
    for many, together in cells.together:
        met += together / (v.rest**2 * _precision(many, v))
    inverse = _inverse(
        cells.gram / v.rest + np.diag(_prior(cells, v)) - met, cells.stations + cells.examiners
    )
    share = 1 / (v.rest * own)
    effects = inverse @ (
        cells.column_total / v.rest - cells.seen.T @ (share * cells.total / v.rest)
    )
    # A score is the student's part and the level of this sitting together: the level is not known
    # either, and what of it is common to both must not be counted twice.
    level = np.asarray(cells.seen.sum(axis=0)).ravel() / cells.size
    ahead = float(level @ effects) - share * (cells.seen @ effects)
    centre = cells.total / v.rest / own + ahead - cells.total.sum() / cells.size
    along = inverse @ level
    rows, which = cells.alike
    square = np.asarray((rows * (rows @ inverse)).sum(axis=1)).ravel()[which]
    around = float(level @ along) - 2 * share * (cells.seen @ along) + share**2 * square
    return _Solved(centre, np.sqrt(1 / own + around), np.asarray(effects), np.asarray(inverse))


def _inverse(square: Array, first: int) -> Array:
    """The inverse of a symmetric matrix; quickly if beyond `first` there is a diagonal only.

    So it is with sessions where every student comes to one. There may be a thousand of them.
    """
    own = square.diagonal()[first:].copy()
    rest = square[first:, first:]
    if not own.size or np.count_nonzero(rest) > np.count_nonzero(own) or not own.all():
        return np.asarray(np.linalg.inv(square))
    out = np.empty_like(square)
    across = square[:first, first:] / own
    head = np.linalg.inv(square[:first, :first] - across @ square[first:, :first])
    out[:first, :first] = head
    out[:first, first:] = -(head @ across)
    out[first:, :first] = out[:first, first:].T
    out[first:, first:] = np.diag(1 / own) - across.T @ out[:first, first:]
    return out


def _precision(count: Any, v: _Variances) -> Any:
    """How well a student's own cells and the cohort together tell the true score."""
    return count / v.rest + 1 / max(v.between, 1e-9)


def _prior(cells: _Cells, v: _Variances) -> Array:
    """Precision of the crossed effects: stations nearly free, a variance of 0 nearly fixed."""
    width = cells.gram.shape[0]
    out = np.full(width, 1 / max(v.session, 1e-6))
    out[: cells.stations] = 1e-8
    out[cells.stations : cells.stations + cells.examiners] = 1 / max(v.examiner, 1e-6)
    return out


@dataclass(frozen=True, slots=True)
class AllocatedEffect:
    """What an examiner adds to a mark, in points of 100 (negative: takes off), drawn towards zero.

    `low` and `high` are 95% limits, the variances taken as estimated.
    """

    examiner: str
    points: float
    low: float
    high: float


def allocated_effects(
    scores: pd.DataFrame, components: VarianceComponents
) -> tuple[AllocatedEffect, ...]:
    """Examiners' effects if students came to examiners and circuits at random.

    Where circuits share no examiner nothing else can tell a severe circuit from a weak one, so
    these name nobody. Best linear unbiased predictions of the fitted model. Empty where it holds no
    variance between examiners.
    """
    import pandas as pd

    found = components.components
    if found.get("examiner", 0.0) <= 0:
        return ()
    cells = _cells(scores)
    rest = found.get("student_station", 0.0) + found.get("residual", 0.0) / cells.per_cell
    v = _Variances(found.get("student", 0.0), max(rest, 1e-9), found["examiner"],
                   found.get("session", 0.0))  # fmt: skip
    solved = _solve(cells, v)
    names = pd.factorize(scores[scores["score"].notna()]["examiner"])[1]
    at = slice(cells.stations, cells.stations + cells.examiners)
    half = Z95 * np.sqrt(np.diag(solved.inverse)[at])
    return tuple(
        AllocatedEffect(str(name), float(x), float(x - h), float(x + h))
        for name, x, h in zip(names, solved.effects[at], half, strict=True)
    )
