"""Examiners in points of 100: how many marks each gives beside the average examiner.

mark = student + station + examiner + error, students and stations taken as they are. The plain
estimates are shown with their intervals; for marks adjusted for the examiner they are shrunk
towards none by as much as the data say that examiners differ at all (best linear prediction,
Robinson GK, Stat Sci 1991;6:15-32, from memory), so that noise is not handed to the students.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ExaminerEffect:
    """Points of 100 an examiner gives above (below: negative) the average, 95% limits.

    `shrunk` is the prediction used for adjusted marks.
    """

    examiner: str
    n: int
    points: float
    low: float
    high: float
    shrunk: float


@dataclass(frozen=True, slots=True)
class ExaminerEffects:
    """All examiners in order of name, and each student's adjusted total (percent).

    `adjustment` is added to a student's total: the shrunk effects of the examiners met, averaged
    over stations, with the sign turned.
    """

    examiners: tuple[ExaminerEffect, ...]
    adjustment: dict[str, float]
    residual_sd: float


def examiner_effects(rated: pd.DataFrame, ratio: float) -> ExaminerEffects:
    """Effects from linked data: `rated` has student, station, examiner, score without gaps.

    `ratio` is residual over examiner variance (infinite: no adjustment at all). The caller makes
    sure that all examiners are linked; otherwise differences between sets are arbitrary.
    """
    import pandas as pd

    student, students = pd.factorize(rated["student"])
    station, stations = pd.factorize(rated["station"])
    examiner, names = pd.factorize(rated["examiner"], sort=True)
    y = rated["score"].to_numpy(dtype=float)
    equations = _normal(student, station, examiner, y)
    normal, right = equations.matrix, equations.right
    first = len(stations)
    inverse = np.linalg.pinv(normal, hermitian=True)
    centre = np.eye(len(names)) - 1 / len(names)
    plain = centre @ (inverse @ right)[first:]
    rank = int(np.linalg.matrix_rank(normal, hermitian=True))
    df = max(1, y.size - len(students) - rank)
    variance = max(0.0, _squares(student, y) - float(right @ inverse @ right)) / df
    se = np.sqrt(np.maximum(0, np.diag(centre @ inverse[first:, first:] @ centre)) * variance)
    shrunk = _shrunk(normal, right, first, ratio)
    counts = np.bincount(examiner)
    return ExaminerEffects(
        examiners=_listed([str(name) for name in names], counts, plain, se, shrunk, df),
        adjustment=_adjustments(students, student, station, -shrunk[examiner]),
        residual_sd=float(np.sqrt(variance)),
    )


@dataclass(frozen=True, slots=True)
class _Equations:
    matrix: Floats
    right: Floats


def _normal(
    student: NDArray[np.intp], station: NDArray[np.intp], examiner: NDArray[np.intp], y: Floats
) -> _Equations:
    """Normal equations of stations and examiners after eliminating students."""
    from scipy import sparse

    n, width = y.size, int(station.max()) + int(examiner.max()) + 2
    row = np.tile(np.arange(n), 2)
    column = np.concatenate([station, int(station.max()) + 1 + examiner])
    design = sparse.csr_array((np.ones(2 * n), (row, column)), shape=(n, width))
    who = sparse.csr_array((np.ones(n), (student, np.arange(n))))
    met = (who @ design).toarray()
    size = np.bincount(student).astype(float)
    normal = (design.T @ design).toarray() - met.T @ (met / size[:, None])
    right = design.T @ y - met.T @ (np.bincount(student, y) / size)
    return _Equations(np.asarray(normal), np.asarray(right))


def _squares(student: NDArray[np.intp], y: Floats) -> float:
    mean = np.bincount(student, y) / np.bincount(student)
    return float(((y - mean[student]) ** 2).sum())


def _shrunk(normal: Floats, right: Floats, first: int, ratio: float) -> Floats:
    if not np.isfinite(ratio):
        return np.zeros(normal.shape[0] - first)
    penalised = normal.copy()
    block = np.arange(first, normal.shape[0])
    penalised[block, block] += ratio
    solution = np.linalg.lstsq(penalised, right, rcond=None)[0]
    return np.asarray(solution[first:])


def _listed(
    names: list[str], counts: NDArray[np.intp], plain: Floats, se: Floats, shrunk: Floats, df: int
) -> tuple[ExaminerEffect, ...]:
    from scipy.stats import t

    half = float(t.ppf(0.975, df)) * se
    return tuple(
        ExaminerEffect(name, int(n), float(p), float(p - h), float(p + h), float(s))
        for name, n, p, h, s in zip(names, counts, plain, half, shrunk, strict=True)
    )


def _adjustments(
    students: pd.Index[str], student: NDArray[np.intp], station: NDArray[np.intp], change: Floats
) -> dict[str, float]:
    """Mean over a student's stations of the mean change at each."""
    width = int(station.max()) + 1
    cell = student * width + station
    count = np.bincount(cell, minlength=len(students) * width)
    total = np.bincount(cell, change, len(students) * width)
    mean = np.where(count > 0, total / np.maximum(count, 1), 0.0).reshape(-1, width)
    seen = (count > 0).reshape(-1, width).sum(axis=1)
    return dict(zip(map(str, students), (mean.sum(axis=1) / seen).tolist(), strict=True))
