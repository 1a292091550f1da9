"""Do examiners change over the day: each one's trend against the others, and the whole day's.

A student is seen once, so a trend common to all examiners and a change in the students' ability
look alike. Each examiner's trend *relative to the others* needs no assumption about students; the
common trend assumes that students were spread over the day by chance, and says so.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray
from sidewise.ground.distributions import t_above, t_quantile
from sidewise.teaching.severity.severity_test import holm_adjusted_p

if TYPE_CHECKING:
    import pandas as pd


FAMILY_ERROR = 0.05


@dataclass(frozen=True, slots=True)
class ExaminerDrift:
    """Change of one examiner's marks from the first to the last place in the day, in points,
    against the mean of the examiners compared; negative: grew more severe than the others."""

    examiner: str
    n: int
    change: float
    standard_error: float
    low: float
    high: float
    p: float
    p_adjusted: float
    verdict: str


@dataclass(frozen=True)
class Drift:
    """`common_change`: of all marks from first to last, assuming that students came by chance.
    `examiners` holds those who were seen at two places in the day or more."""

    examiners: tuple[ExaminerDrift, ...]
    common_change: float
    common_standard_error: float
    common_p: float
    places: int
    n: int
    warnings: tuple[str, ...]
    sentence: str


def fit_drift(scores: pd.DataFrame, *, order: str = "session", response: str = "score") -> Drift:
    """Trends over `order`: a number, a time, or names in the order in which they first appear.

    Within students: y = student + station + examiner + slope_examiner * t + residual, t from 0
    (first) to 1 (last), all fixed, the slopes summing to 0; least squares after subtracting each
    student's means; two-sided t tests, Holm over examiners. The common change is the slope of
    students' mean marks on t.
    """
    data = _read(scores, order, response)
    warnings: list[str] = []
    moved = _moved(data)
    slopes, covariance, freedom = _relative_slopes(data, moved)
    if len(moved) < 2 or freedom < 1:
        warnings.append("Fewer than two examiners were seen at two times: drift cannot be told.")
        rows: tuple[ExaminerDrift, ...] = ()
    else:
        rows = _rows(data, moved, slopes, covariance, freedom)
        if any(not np.isfinite(r.change) for r in rows):
            warnings.append("Some trends cannot be told from those of stations and students.")
    common, error, p = _common(data)
    return Drift(
        examiners=rows, common_change=common, common_standard_error=error, common_p=p,
        places=len(np.unique(data.time)), n=len(data.y), warnings=tuple(warnings),
        sentence=_sentence(rows, common, error, p),
    )  # fmt: skip


@dataclass(frozen=True)
class _Data:
    y: Array
    time: Array
    student: IntArray
    station: IntArray
    examiner: IntArray
    examiners: list[str]


def _read(scores: pd.DataFrame, order: str, response: str) -> _Data:
    import pandas as pd

    columns = ["student", "station", "examiner", order, response]
    for column in columns:
        if column not in scores.columns:
            raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    rows = scores[columns].dropna()
    y = rows[response].to_numpy(dtype=float)
    if len(y) == 0 or not np.isfinite(y).all():
        raise UserError(response, "no marks or an infinite one", "finite marks")
    place = rows[order]
    if pd.api.types.is_numeric_dtype(place) or pd.api.types.is_datetime64_any_dtype(place):
        time = place.to_numpy().astype("float64")
    else:
        time = pd.factorize(place)[0].astype(float)
    if np.ptp(time) == 0:
        raise UserError(order, place.iloc[0], "at least two places in the day")
    student, station = (pd.factorize(rows[c])[0] for c in ("student", "station"))
    examiner, names = pd.factorize(rows["examiner"], sort=True)
    time = (time - time.min()) / np.ptp(time)
    return _Data(y, time, student, station, examiner, [str(n) for n in names])


def _moved(data: _Data) -> IntArray:
    """Examiners seen at two times or more."""
    low = np.full(len(data.examiners), np.inf)
    high = np.full(len(data.examiners), -np.inf)
    np.minimum.at(low, data.examiner, data.time)
    np.maximum.at(high, data.examiner, data.time)
    return np.flatnonzero(high > low)


def _relative_slopes(data: _Data, moved: IntArray) -> tuple[Array, Array, int]:
    """Slopes of `moved` about their mean, covariance, residual degrees of freedom."""
    from scipy import sparse

    if len(moved) == 0:
        return np.zeros(0), np.zeros((0, 0)), 0
    n, rows = len(data.y), np.arange(len(data.y))
    stations, examiners = int(data.station.max()) + 1, len(data.examiners)
    number = np.full(examiners, -1)
    number[moved] = np.arange(len(moved))
    mine = number[data.examiner]
    has = mine >= 0
    index = np.concatenate([
        data.station, stations + data.examiner, stations + examiners + mine[has],
    ])  # fmt: skip
    value = np.concatenate([np.ones(2 * n), data.time[has]])
    where = np.concatenate([rows, rows, rows[has]])
    width = stations + examiners + len(moved)
    design = sparse.csr_array((value, (where, index)), shape=(n, width))
    seen = sparse.csr_array((np.ones(n), (data.student, rows)))
    sums, count = seen @ design, np.bincount(data.student)
    normal = (design.T @ design - sums.T @ sparse.diags_array(1 / count) @ sums).toarray()
    inside = data.y - (np.bincount(data.student, data.y) / count)[data.student]
    right = design.T @ inside
    inverse = np.linalg.pinv(normal, rcond=1e-10, hermitian=True)
    beta = inverse @ right
    freedom = n - len(count) - int(np.linalg.matrix_rank(normal, tol=1e-8 * n, hermitian=True))
    variance = float(inside @ inside - beta @ right) / freedom if freedom > 0 else np.nan
    contrast = np.zeros((len(moved), width))
    contrast[:, -len(moved) :] = np.eye(len(moved)) - 1 / max(len(moved), 1)
    # A contrast outside the row space has no estimate, whatever pinv returns.
    lost = np.abs(contrast - contrast @ inverse @ normal).max(axis=1, initial=0) > 1e-6
    slopes = contrast @ beta
    slopes[lost] = np.nan
    return slopes, contrast @ inverse @ contrast.T * max(variance, 0.0), freedom


def _rows(
    data: _Data, moved: IntArray, slopes: Array, covariance: Array, freedom: int
) -> tuple[ExaminerDrift, ...]:
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    known = np.isfinite(slopes) & (error > 0)
    p = np.ones(len(moved))
    p[known] = 2 * t_above(np.abs(slopes[known]) / error[known], freedom)
    adjusted = np.ones(len(moved))
    adjusted[known] = holm_adjusted_p(p[known])
    reach = float(t_quantile(0.975, freedom))
    count = np.bincount(data.examiner)
    return tuple(
        ExaminerDrift(
            data.examiners[e], int(count[e]), float(slopes[k]), float(error[k]),
            float(slopes[k] - reach * error[k]), float(slopes[k] + reach * error[k]),
            float(p[k]), float(adjusted[k]), _verdict(known[k], adjusted[k], slopes[k]),
        )
        for k, e in enumerate(moved)
    )  # fmt: skip


def _verdict(known: bool, adjusted: float, slope: float) -> str:
    if not known:
        return "cannot be told"
    if adjusted >= FAMILY_ERROR:
        return "no drift seen"
    return "grew more severe" if slope < 0 else "grew more lenient"


def _common(data: _Data) -> tuple[float, float, float]:
    """Slope of students' mean marks on their mean time, its standard error and p."""
    count = np.bincount(data.student)
    # Stations are balanced out first: a student who missed a hard one must not look able.
    ease = np.bincount(data.station, data.y) / np.bincount(data.station)
    mean = np.bincount(data.student, data.y - ease[data.station]) / count
    time = np.bincount(data.student, data.time) / count
    x = time - time.mean()
    square, freedom = float(x @ x), len(x) - 2
    if square == 0 or freedom < 1:
        return float("nan"), float("nan"), float("nan")
    slope = float(x @ mean) / square
    rest = mean - mean.mean() - slope * x
    error = float(np.sqrt(rest @ rest / freedom / square))
    if error == 0:
        return slope, 0.0, float(slope == 0)
    return slope, error, float(2 * t_above(abs(slope) / error, freedom))


def _sentence(rows: tuple[ExaminerDrift, ...], common: float, error: float, p: float) -> str:
    named = [f"{r.examiner} {r.verdict}" for r in rows if r.verdict.startswith("grew")]
    first = "; ".join(named) + " over the day." if named else _nobody_named(rows)
    if not np.isfinite(common):
        return first
    shown = f"{common:+.1f} points (standard error {error:.1f}, p {p:.2f})"
    return (
        f"{first} Marks as a whole changed by {shown} from first to last; students and examiners "
        "cannot be told apart in that figure unless students came in random order."
    )


def _nobody_named(rows: tuple[ExaminerDrift, ...]) -> str:
    """Nobody seen to drift is said only of those whose trend could be told."""
    told = sum(r.verdict == "no drift seen" for r in rows)
    if not told:
        return "Whether an examiner drifts cannot be told here."
    rest = len(rows) - told
    if not rest:
        return "No examiner is seen to drift."
    return f"None of {told} examiners is seen to drift; of {rest} more it cannot be told."
