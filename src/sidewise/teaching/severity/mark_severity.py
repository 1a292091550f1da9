"""Severity of examiners in marks: how many points fewer, and who stands out.

The many-facet model speaks of ratings in logits; a board asks for points. Here marks follow a
linear model with every examiner and station as they are and students drawn from a normal
distribution, its variances by REML. Nobody's marks are changed. Who is named follows the rule of
`sidewise.teaching.severity.severity_test`, on marks and global ratings together where both are
there: an examiner's severity shows in both, the chance of single items mostly in one.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array, IntArray
from sidewise.ground.interval import Z95
from sidewise.teaching.reliability import reml
from sidewise.teaching.severity import severity_test as naming
from sidewise.teaching.severity.linked_sets import LinkedSets, sets_from_codes
from sidewise.teaching.severity.severity_test import Heterogeneity

if TYPE_CHECKING:
    import pandas as pd


# Half a grade where a grade is worth a tenth of the marks, as is commonly quoted: our judgement.
SMALLEST_POINTS = 5.0
FAMILY_ERROR = 0.05
FEW_MARKS = 10
FEW_STUDENTS = 50


@dataclass(frozen=True, slots=True)
class MarkShift:
    """One examiner: `points` fewer (positive) than the mean of all examiners, for the same
    students and stations, with standard error and 95% limits. `z` and `p_adjusted` are those of
    the rule for naming; `verdict` is severe, lenient, ordinary or cannot be told."""

    examiner: str
    n: int
    points: float
    standard_error: float
    low: float
    high: float
    mean_score: float
    z: float
    p_adjusted: float
    verdict: str
    set: int


@dataclass(frozen=True)
class MarkSeverity:
    """Severity in points. `students`: student, n, mean_score as given, adjusted_mean (under
    examiners of average severity at the same stations), adjustment. `named_on` says what the
    naming rests on. Empty `severe` and `lenient` unless `connected`."""

    examiners: tuple[MarkShift, ...]
    students: pd.DataFrame = field(repr=False)
    spread: float | None
    heterogeneity: Heterogeneity | None
    connected: bool
    components: tuple[tuple[str, ...], ...]
    severe: tuple[str, ...]
    lenient: tuple[str, ...]
    named_on: str
    n: int
    warnings: tuple[str, ...]
    rule: str
    sentence: str


def severity_in_marks(
    scores: pd.DataFrame, *, smallest: float = SMALLEST_POINTS, response: str = "score"
) -> MarkSeverity:
    """Examiners' severity in points of `response`, and who stands out.

    y = station + student - severity + residual; student random, and where several examiners marked
    one performance what they share of it; severities sum to 0 and are estimated by generalised
    least squares with REML variances; only contrasts that the design ties together are estimated.
    Columns: student, station, examiner, `response` and, where there, global_rating. `smallest`:
    points below which nobody is named.

    Henderson CR, Biometrics 1975; 31:423-447 (from memory); the rule: see `naming`.
    """
    data, warnings = _read(scores, response)
    linked = sets_from_codes(data.student, data.station, data.examiner, data.examiners)
    severity, covariance = _severity(data, data.score, linked)
    joint, named_on = _joint(data, linked, severity, covariance)
    standing = None
    if linked.connected and len(data.examiners) >= naming.FEWEST:
        standing = naming.severity_tests(*joint, linked.contrasts)
    if not linked.connected:
        warnings.append(linked.sentence + " Nobody is named severe.")
    rows = _shifts(data, linked, severity, covariance, standing, smallest)
    severe, lenient = (
        tuple(r.examiner for r in rows if r.verdict == kind) for kind in ("severe", "lenient")
    )
    return MarkSeverity(
        examiners=rows, students=_students(data, linked, severity),
        spread=_spread(severity, covariance, linked) if standing else None,
        heterogeneity=standing.heterogeneity if standing else None,
        connected=linked.connected, components=linked.sets, severe=severe, lenient=lenient,
        named_on=named_on, n=len(data.score), warnings=tuple(warnings), rule=_rule(smallest),
        sentence=_sentence(rows, linked, standing is not None),
    )  # fmt: skip


@dataclass(frozen=True)
class _Data:
    student: IntArray
    station: IntArray
    examiner: IntArray
    score: Array
    rating: Array | None
    students: list[str]
    examiners: list[str]


def _read(scores: pd.DataFrame, response: str) -> tuple[_Data, list[str]]:
    import pandas as pd

    for column in ("student", "station", "examiner", response):
        if column not in scores.columns:
            raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    rows = scores[scores[response].notna()]
    warnings = []
    if len(rows) < len(scores):
        warnings.append(f"{len(scores) - len(rows)} rows without a mark were left out.")
    if rows.empty:
        raise UserError(response, "no marks", "at least a few marks")
    for column in ("student", "station", "examiner"):
        if rows[column].isna().any():
            where = rows.index[rows[column].isna()][0]
            raise UserError(f"{column}, row {where}", None, "a name on every row with a mark")
    values = rows[response].to_numpy(dtype=float)
    if not np.isfinite(values).all():
        where = rows.index[~np.isfinite(values)][0]
        raise UserError(f"{response}, row {where}", "an infinite mark", "finite marks")
    if np.ptp(values) <= 1e-12 * max(1.0, float(np.abs(values).max())):
        raise UserError(response, float(values[0]), "marks that differ",
                        "Every mark is the same: severity cannot be seen.")  # fmt: skip
    student, students = pd.factorize(rows["student"], sort=True)
    station, _ = pd.factorize(rows["station"], sort=True)
    examiner, examiners = pd.factorize(rows["examiner"], sort=True)
    if len(students) < 2:
        raise UserError("student", "one student", "at least two students")
    if len(students) < FEW_STUDENTS:
        warnings.append(
            f"{len(students)} students: below {FEW_STUDENTS} such figures are unstable."
        )
    rating = _rating(rows)
    return _Data(
        student, station, examiner, values, rating,
        [str(s) for s in students], [str(e) for e in examiners],
    ), warnings  # fmt: skip


def _rating(rows: pd.DataFrame) -> Array | None:
    """Global ratings, only where every row has one and they differ."""
    if "global_rating" not in rows.columns:
        return None
    rating = rows["global_rating"].to_numpy(dtype=float)
    usable = np.isfinite(rating).all() and np.ptp(rating) > 0
    return rating if usable else None


def _severity(data: _Data, response: Array, linked: LinkedSets) -> tuple[Array, Array]:
    """Severities about the mean of their linked set, and their covariance."""
    stations = int(data.station.max()) + 1
    widths = _widths(data)
    if len(np.unique(data.student)) == len(data.student):
        raise UserError("student", "one mark each", "several marks for each student")
    sums = reml.sums_of_design(response, _chain(data), [data.station, data.examiner], widths)
    best = reml.fit_reml(sums)
    matrix = reml.chain_eliminated(sums, best.ratios)
    width = sum(widths)
    spread, inverse = _contrasted(matrix[:width, :width], linked, stations)
    scale = float(np.exp(sums.log_scale))
    effects = spread @ (inverse @ (spread.T @ matrix[:width, -1])) * scale
    severity = -linked.centre @ effects[stations:]
    covariance = severity_covariance(matrix[:width, :width], linked, stations)
    return severity, covariance * best.value.residual * scale**2


def _contrasted(matrix: Array, linked: LinkedSets, stations: int) -> tuple[Array, Array]:
    """The columns of what can be estimated, and the inverse of the equations among them."""
    spread: Array = np.zeros((len(matrix), stations + linked.contrasts.shape[1]))
    spread[:stations, :stations] = np.eye(stations)
    spread[stations:, stations:] = linked.contrasts
    equations: Array = spread.T @ matrix @ spread
    inverse: Array = np.asarray(np.linalg.pinv(equations, hermitian=True), dtype=np.float64)
    return spread, inverse


def severity_covariance(matrix: Array, linked: LinkedSets, stations: int) -> Array:
    """Covariance of severities about the mean of their linked set, in units of the residual
    variance. matrix: the normal equations of stations (first) and examiners, students eliminated.
    """
    spread, inverse = _contrasted(matrix, linked, stations)
    covariance = (spread @ inverse @ spread.T)[stations:, stations:]
    centred: Array = linked.centre @ covariance @ linked.centre.T
    return centred


def _chain(data: _Data) -> list[IntArray]:
    """Students; where several examiners marked one performance, what they share of it as well."""
    cell = data.student * (int(data.station.max()) + 1) + data.station
    kinds, codes = np.unique(cell, return_inverse=True)
    if len(kinds) == len(cell):
        return [data.student]
    return [codes.astype(np.int64), data.student]


def _joint(
    data: _Data, linked: LinkedSets, severity: Array, covariance: Array
) -> tuple[tuple[Array, Array], str]:
    """What naming rests on: the sum of marks and ratings that shows performance best, in points,
    or marks alone. The test holds for any fixed sum; a good one only makes it keener."""
    if data.rating is None:
        return (severity, covariance), "marks"
    weight = _discriminant(data, data.rating)
    both = _severity(data, weight[0] * data.score + weight[1] * data.rating, linked)
    return both, "marks and global ratings together"


def _discriminant(data: _Data, rating: Array) -> Array:
    """Weights R^-1 s of marks and ratings, not below 0, scaled so that students differ by as many
    points as in marks; s their standard deviations between students, R the covariance of what is
    left after students, stations and examiners (Fisher RA, Ann Eugen 1936; 7:179-188)."""
    both = [data.score, rating]
    between = np.array([_between_students(data, y) for y in both])
    if not between.all():
        return np.array([1.0, 0.0]) if between[0] >= between[1] else np.array([0.0, 1.0])
    left = np.cov(np.array([_left_over(data, y) for y in both]))
    weight = np.maximum(np.linalg.pinv(left) @ between, 0.0)
    scaled: Array = weight * between[0] / float(weight @ between)
    return scaled


def _between_students(data: _Data, response: Array) -> float:
    chain = _chain(data)
    sums = reml.sums_of_design(response, chain, [data.station, data.examiner], _widths(data))
    best = reml.fit_reml(sums)
    return float(
        np.sqrt(best.ratios[len(chain) - 1] * best.value.residual) * np.exp(sums.log_scale)
    )


def _left_over(data: _Data, response: Array) -> Array:
    """Residuals of the additive fit, by sweeping means out in turn; weights need no more."""
    rest: Array = response - response.mean()
    for _ in range(30):
        for codes in (data.student, data.station, data.examiner):
            rest = rest - (np.bincount(codes, rest) / np.bincount(codes))[codes]
    return rest


def _widths(data: _Data) -> tuple[int, int]:
    return int(data.station.max()) + 1, len(data.examiners)


def _shifts(
    data: _Data, linked: LinkedSets, severity: Array, covariance: Array,
    standing: naming.SeverityTests | None, smallest: float,
) -> tuple[MarkShift, ...]:  # fmt: skip
    n = np.bincount(data.examiner)
    means = np.bincount(data.examiner, data.score) / n
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    nan = float("nan")
    rows = []
    for k, name in enumerate(data.examiners):
        number = linked.set_of(name)
        alone = len(linked.sets[number]) == 1
        points, error = (nan, nan) if alone else (float(severity[k]), float(errors[k]))
        rows.append(MarkShift(
            examiner=name, n=int(n[k]), points=points, standard_error=error,
            low=points - Z95 * error, high=points + Z95 * error,
            mean_score=float(means[k]), z=float(standing.z[k]) if standing else nan,
            p_adjusted=float(standing.adjusted[k]) if standing else nan,
            verdict=_verdict(points, k, standing, smallest), set=number,
        ))  # fmt: skip
    return tuple(rows)


def _verdict(points: float, k: int, standing: naming.SeverityTests | None, smallest: float) -> str:
    if standing is None:
        return "cannot be told"
    # Marks and the joint evidence must point the same way.
    agree = points * float(standing.shift[k]) > 0
    if standing.adjusted[k] >= FAMILY_ERROR or abs(points) < smallest or not agree:
        return "ordinary"
    return "severe" if points > 0 else "lenient"


def _spread(severity: Array, covariance: Array, linked: LinkedSets) -> float:
    return naming.severity_tests(severity, covariance, linked.contrasts).spread


def _students(data: _Data, linked: LinkedSets, severity: Array) -> pd.DataFrame:
    import pandas as pd

    n = np.bincount(data.student)
    mean = np.bincount(data.student, data.score) / n
    alone = np.array([len(linked.sets[linked.set_of(name)]) == 1 for name in data.examiners])
    known = np.where(alone, 0.0, severity)
    adjustment = np.bincount(data.student, known[data.examiner]) / n
    return pd.DataFrame({
        "student": data.students, "n": n, "mean_score": mean,
        "adjusted_mean": mean + adjustment, "adjustment": adjustment,
    })  # fmt: skip


def _rule(smallest: float) -> str:
    return (
        "An examiner is named when chance and the ordinary spread of the others do not explain "
        "the difference (deleted residual, 5% over all examiners by Holm's method, both sides) "
        f"and it is at least {smallest:g} points of 100 [our judgement]."
    )


def _sentence(rows: tuple[MarkShift, ...], linked: LinkedSets, judged: bool) -> str:
    if not linked.connected:
        return linked.sentence + " Nobody is named severe."
    if not judged:
        return "There are too few examiners to hold one against the others."
    named = [r for r in rows if r.verdict in ("severe", "lenient")]
    if not named:
        return "No examiner stands out from the ordinary spread of the others."
    parts = [
        f"{r.examiner} gave {abs(r.points):.0f} points {'fewer' if r.points > 0 else 'more'} than "
        f"the average examiner would have ({abs(r.low):.0f} to {abs(r.high):.0f})"
        for r in named
    ]
    return "; ".join(parts) + "."
