"""Variance components of subjects by raters with missing cells, by REML (small tables)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array, BoolArray


@dataclass(frozen=True, slots=True)
class TwoWay:
    """Variances between subjects, between raters and residual; `criterion` is -2 log REML.

    `log_covariance` of the logarithms of the three (rows of a boundary component are zero), None
    when it could not be had.
    """

    between_subjects: float
    between_raters: float
    residual: float
    criterion: float
    log_covariance: Array | None
    warnings: tuple[str, ...] = ()


# Below this share of the residual a component is reported as zero.
ZERO = 1e-6


def two_way_reml(x: Array) -> TwoWay:
    """REML of y = mean + subject + rater + residual from every cell that is not NaN.

    Subjects are eliminated first (their block is diagonal), so what is left is as wide as there
    are raters.
    """
    from scipy.optimize import minimize

    seen = ~np.isnan(x)
    spread = float(np.nanvar(x)) or 1.0

    def objective(log: Array) -> float:
        return _criterion(x, seen, np.exp(log))

    start = np.log(np.array([spread / 2, spread / 8, spread / 2]))
    floor = np.log(spread) - 16
    found = minimize(
        objective, start, method="L-BFGS-B", bounds=[(floor, np.log(spread) + 8)] * 3,
        options={"ftol": 1e-13, "gtol": 1e-8, "maxiter": 500},
    )  # fmt: skip
    variances = np.exp(found.x)
    zero = variances[:2] < ZERO * variances[2] * 10
    covariance = _log_covariance(objective, found.x, np.append(zero, False))
    variances[:2][zero] = 0.0
    names = [n for n, z in zip(("subjects", "raters"), zero, strict=True) if z]
    warnings = tuple(f"Variance between {n} estimated as 0, on the boundary." for n in names)
    subjects, raters, residual = (float(v) for v in variances)
    return TwoWay(subjects, raters, residual, float(found.fun), covariance, warnings)


def _criterion(x: Array, seen: BoolArray, variance: Array) -> float:
    """-2 log restricted likelihood by the mixed-model equations, without the constant's 2 pi."""
    subject, rater, residual = variance
    n, k = x.shape
    y = np.where(seen, x, 0.0)
    m = seen.astype(float)
    # Columns after subjects: mean, raters.
    diagonal = m.sum(axis=1) / residual + 1 / subject
    cross = np.column_stack([m.sum(axis=1), m]) / residual
    dense = np.zeros((k + 1, k + 1))
    dense[0, 0] = m.sum()
    dense[0, 1:] = dense[1:, 0] = m.sum(axis=0)
    dense[1:, 1:] = np.diag(m.sum(axis=0))
    dense = dense / residual
    dense[1:, 1:] += np.eye(k) / rater
    schur = dense - cross.T @ (cross / diagonal[:, None])
    right_subject = y.sum(axis=1) / residual
    right = np.append(y.sum(), y.sum(axis=0)) / residual - cross.T @ (right_subject / diagonal)
    root = np.linalg.cholesky(schur)
    half = np.linalg.solve(root, right)
    quadratic = float((y**2).sum()) / residual
    quadratic -= float((right_subject**2 / diagonal).sum()) + float(half @ half)
    logs = np.log(diagonal).sum() + 2 * np.log(np.diag(root)).sum()
    logs += n * np.log(subject) + k * np.log(rater) + m.sum() * np.log(residual)
    return float(logs + quadratic + (m.sum() - 1) * np.log(2 * np.pi))


def _log_covariance(
    objective: Callable[[Array], float], at: Array, fixed: BoolArray
) -> Array | None:
    """Inverse of half the second derivatives of the criterion, by central differences."""
    free = np.flatnonzero(~fixed)
    step, size = 1e-3, free.size
    hessian = np.empty((size, size))
    for a in range(size):
        for b in range(size):
            da, db = np.zeros(3), np.zeros(3)
            da[free[a]], db[free[b]] = step, step
            hessian[a, b] = (
                objective(at + da + db) - objective(at + da - db)
                - objective(at - da + db) + objective(at - da - db)
            ) / (4 * step**2)  # fmt: skip
    half = hessian / 2
    if not np.isfinite(half).all() or np.linalg.eigvalsh((half + half.T) / 2).min() <= 0:
        return None
    covariance = np.zeros((3, 3))
    covariance[np.ix_(free, free)] = np.linalg.inv(half)
    return covariance
