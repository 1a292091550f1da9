"""Bivariate meta-analysis of sensitivity and specificity: exact binomial, and normal-normal.

Both: logit sensitivity and logit specificity of a study are bivariate normal around their means
with between-study variances and a correlation. Exact: counts are binomial, the study effects are
integrated by adaptive Gauss-Hermite quadrature in two dimensions around each study's mode, maximum
likelihood (Chu H, Cole SR, J Clin Epidemiol 2006; 59:1331-1332). Normal-normal: observed logits
with their sampling variances, restricted maximum likelihood (Reitsma JB et al., J Clin Epidemiol
2005; 58:982-990). They differ by more than programs do; the exact one is the default.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError
from sidewise.evidence.studies.counts import TwoByTwo
from sidewise.evidence.studies.ratios import LimitedEstimate
from sidewise.ground.arrays import Array
from sidewise.ground.interval import Z95

FEW = 4
LEAST = 2
NODES = 9
SMALLEST_LOG_SD, LARGEST_LOG_SD = -7.0, 3.0


@dataclass(frozen=True, slots=True)
class Pooled:
    """Pooled accuracy on both scales. `predicted_*`: 95% of new studies' true figures lie there.

    logit_sens, logit_spec with standard errors; var_sens, var_spec, correlation between studies.
    """

    method: str
    studies: int
    logit_sens: float
    logit_spec: float
    se_sens: float
    se_spec: float
    var_sens: float
    var_spec: float
    correlation: float
    log_likelihood: float
    sensitivity: LimitedEstimate
    specificity: LimitedEstimate
    predicted_sensitivity: LimitedEstimate
    predicted_specificity: LimitedEstimate
    positive_ratio: float
    negative_ratio: float
    warnings: tuple[str, ...]


def pool_exact(tables: Sequence[TwoByTwo], nodes: int = NODES) -> Pooled:
    """Exact binomial-normal model; `nodes` per dimension (9 agree with 21 to 1e-3)."""
    counts = _counts(tables)
    start = _start(tables)

    def log_likelihood(theta: Array) -> float:
        return _exact(theta, counts, nodes)

    theta, value = _maximum(log_likelihood, start)
    errors = _standard_errors(log_likelihood, theta)
    return _pooled("exact binomial, maximum likelihood", tables, theta, errors, value, ())


def pool_normal(tables: Sequence[TwoByTwo], everywhere: bool = False) -> Pooled:
    """Normal-normal model by REML; 0.5 added to studies with an empty cell (or `everywhere`).

    The log-likelihood has the constants -(2n - 2)/2 log(2 pi) + log n, as metafor prints it.
    """
    _counts(tables)
    used = [t.corrected() if everywhere or t.has_empty_cell else t for t in tables]
    y = np.array([[math.log(t.tp / t.fn), math.log(t.tn / t.fp)] for t in used])
    s = np.array([[1 / t.tp + 1 / t.fn, 1 / t.tn + 1 / t.fp] for t in used])

    def log_likelihood(theta: Array) -> float:
        return _restricted(theta, y, s).value

    theta, value = _maximum(log_likelihood, _start(tables)[2:])
    found = _restricted(theta, y, s)
    full = np.concatenate([found.mean, theta])
    touched = any(t.has_empty_cell for t in tables) or everywhere
    note = ("0.5 added to every cell of studies with an empty one.",) if touched else ()
    return _pooled("normal-normal, REML", tables, full, found.errors, value, note)


def _counts(tables: Sequence[TwoByTwo]) -> Array:
    if len(tables) < LEAST:
        raise UserError("studies to pool", len(tables), f"at least {LEAST}")
    return np.array([[t.tp, t.tp + t.fn, t.tn, t.tn + t.fp] for t in tables], dtype=float)


def _start(tables: Sequence[TwoByTwo]) -> Array:
    logits = np.array(
        [[math.log(c.tp / c.fn), math.log(c.tn / c.fp)] for c in (t.corrected() for t in tables)]
    )
    sd = np.maximum(logits.std(axis=0), 0.2)
    return np.concatenate([logits.mean(axis=0), np.log(sd), [0.0]])


def _spread(theta: Array) -> Array:
    """(2, 2) between-study covariance from log sds and the Fisher transform of the correlation."""
    sd = np.exp(np.clip(theta[:2], SMALLEST_LOG_SD, LARGEST_LOG_SD))
    r = 0.999 * math.tanh(theta[2])
    return np.array([[sd[0] ** 2, r * sd[0] * sd[1]], [r * sd[0] * sd[1], sd[1] ** 2]])


def _exact(theta: Array, counts: Array, nodes: int) -> float:
    """Log likelihood with binomial coefficients."""
    mean = theta[:2]
    precision = np.asarray(np.linalg.inv(_spread(theta[2:])), dtype=np.float64)
    mode, curvature = _modes(mean, precision, counts)
    half = np.linalg.inv(np.linalg.cholesky(curvature)).transpose(0, 2, 1)
    x, w = np.polynomial.hermite.hermgauss(nodes)
    grid = np.stack(np.meshgrid(x, x, indexing="ij"), -1).reshape(-1, 2)
    weight = (np.outer(w, w).ravel()) * np.exp((grid * grid).sum(axis=1))
    points = np.asarray(mode[:, None] + math.sqrt(2) * grid @ half.transpose(0, 2, 1), dtype=float)
    log_joint = _log_joint(points, mean, precision, counts)
    top = log_joint.max(axis=1, keepdims=True)
    area = 2 * np.abs(np.linalg.det(half))
    inside = np.log((np.exp(log_joint - top) * weight).sum(axis=1) * area) + top[:, 0]
    return float(inside.sum())


def _log_joint(points: Array, mean: Array, precision: Array, counts: Array) -> Array:
    """(studies, points) log of binomials times the normal density."""
    from scipy.special import gammaln

    k, n = counts[:, None, [0, 2]], counts[:, None, [1, 3]]
    choose = gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)
    binomial = choose + k * points - n * np.logaddexp(0.0, points)
    off = points - mean
    normal = -0.5 * np.einsum("spi,ij,spj->sp", off, precision, off)
    constant = 0.5 * np.linalg.slogdet(precision)[1] - math.log(2 * math.pi)
    return np.asarray(binomial.sum(axis=2) + normal + constant)


def _modes(mean: Array, precision: Array, counts: Array) -> tuple[Array, Array]:
    """Each study's mode and curvature (minus the Hessian), by Newton's method."""
    k, n = counts[:, [0, 2]], counts[:, [1, 3]]
    at = np.log((k + 0.5) / (n - k + 0.5))
    for _ in range(30):
        p = 0.5 * (1 + np.tanh(0.5 * at))
        gradient = k - n * p - (at - mean) @ precision
        curvature = precision + np.eye(2) * (n * p * (1 - p))[:, :, None]
        step = np.clip(np.linalg.solve(curvature, gradient[:, :, None])[:, :, 0], -2, 2)
        at = at + step
        if np.abs(step).max() < 1e-10:
            break
    return at, curvature


@dataclass(frozen=True, slots=True)
class _Restricted:
    value: float
    mean: Array
    errors: Array


def _restricted(theta: Array, y: Array, s: Array) -> _Restricted:
    variance = _spread(theta) + np.eye(2) * s[:, :, None]
    weight = np.linalg.inv(variance)
    information = weight.sum(axis=0)
    mean = np.linalg.solve(information, np.einsum("sij,sj->i", weight, y))
    off = y - mean
    squares = float(np.einsum("si,sij,sj->", off, weight, off))
    logs = float(np.linalg.slogdet(variance)[1].sum() + np.linalg.slogdet(information)[1])
    n = len(y)
    value = -0.5 * (2 * n - 2) * math.log(2 * math.pi) + math.log(n) - 0.5 * (logs + squares)
    return _Restricted(value, mean, np.sqrt(np.diag(np.linalg.inv(information))))


def _maximum(function: Callable[[Array], float], start: Array) -> tuple[Array, float]:
    from scipy.optimize import minimize

    rough = minimize(lambda t: -function(t), start, method="L-BFGS-B")
    fine = minimize(
        lambda t: -function(t),
        rough.x,
        method="Nelder-Mead",
        options={"xatol": 1e-7, "fatol": 1e-10, "maxiter": 4000, "maxfev": 4000},
    )
    best = fine if fine.fun <= rough.fun else rough
    return np.asarray(best.x), -float(best.fun)


def _standard_errors(function: Callable[[Array], float], theta: Array) -> Array:
    """Of the two means, from the curvature in all the parameters (central differences)."""
    n, step = len(theta), 1e-3
    hessian = np.empty((n, n))
    axes = np.eye(n) * step
    for i in range(n):
        for j in range(i + 1):
            corners = [(axes[i] * a + axes[j] * b, a * b) for a in (1, -1) for b in (1, -1)]
            total = sum(sign * function(theta + shift) for shift, sign in corners)
            hessian[i, j] = hessian[j, i] = total / (4 * step * step)
    # A variance on its border leaves no curvature: the pseudo-inverse drops that direction.
    covariance = np.linalg.pinv(-hessian, rcond=1e-8)
    return np.sqrt(np.maximum(np.diag(covariance)[:2], 0.0))


def _pooled(
    method: str,
    tables: Sequence[TwoByTwo],
    theta: Array,
    errors: Array,
    value: float,
    notes: tuple[str, ...],
) -> Pooled:
    spread = _spread(theta[2:])
    (a, b), (va, vb) = theta[:2], np.diag(spread)
    sens, spec = _shares(a, errors[0] ** 2), _shares(b, errors[1] ** 2)
    return Pooled(
        method=method,
        studies=len(tables),
        logit_sens=float(a),
        logit_spec=float(b),
        se_sens=float(errors[0]),
        se_spec=float(errors[1]),
        var_sens=float(va),
        var_spec=float(vb),
        correlation=float(spread[0, 1] / math.sqrt(va * vb)),
        log_likelihood=value,
        sensitivity=sens,
        specificity=spec,
        predicted_sensitivity=_shares(a, errors[0] ** 2 + va),
        predicted_specificity=_shares(b, errors[1] ** 2 + vb),
        positive_ratio=sens.estimate / (1 - spec.estimate),
        negative_ratio=(1 - sens.estimate) / spec.estimate,
        warnings=(*notes, *_cautions(len(tables), theta)),
    )


def _cautions(studies: int, theta: Array) -> tuple[str, ...]:
    found = []
    if studies < FEW:
        found.append(f"Only {studies} studies: the spread between them is hardly known.")
    if min(theta[2:4]) < SMALLEST_LOG_SD + 2:
        found.append("A between-study variance is at its border of 0.")
    return tuple(found)


def _shares(logit: float, variance: float) -> LimitedEstimate:
    half = Z95 * math.sqrt(variance)
    values = (1 / (1 + math.exp(-x)) for x in (logit, logit - half, logit + half))
    return LimitedEstimate(*values)
