"""95% limits of variance components, from the restricted criterion.

Profile limits lie where the criterion, least over all other variances, has risen by 3.84; Wald
limits are normal on the logarithm. A component estimated as zero has an upper limit by its profile.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.interval import Z95
from sidewise.ground.searches import find_minimum, find_root
from sidewise.teaching.reliability import reml

IntervalKind = Literal["auto", "wald", "profile", "none"]

# 95% point of chi-squared with one degree of freedom: how far the criterion may rise.
RISE = 3.841458820694124
# Profiles cost some two hundred steps; above this many students Wald intervals are used instead.
PROFILE_STUDENTS = 500
# Standard error of a logarithm above which the Wald limit is of no use: a factor of fifty.
WIDEST_WALD = 2.0
# How exactly a profile is followed, in units of the criterion and of the logarithm of a variance.
EXACT_CRITERION, EXACT_LOG = 1e-7, 1e-4
# Shares of all variance: below the first a residual would drown the criterion in rounding; a search
# starts no lower than the second, since by the root the slope at zero is zero.
LEAST_RESIDUAL, LEAST_START = 1e-6, 1e-3


@dataclass(frozen=True, slots=True)
class ComponentLimits:
    """95% limits of one component, in squared units of the response, and how they were had."""

    low: float
    high: float
    method: str


@dataclass(frozen=True, slots=True)
class LogInformation:
    """Second derivatives of the criterion by the logarithms of the variances (residual last), and
    the covariance of those logarithms; rows of the boundary are zero, NaN where there is none."""

    bent: Array
    covariance: Array

    @property
    def standard_errors(self) -> Array:
        """Of the logarithms."""
        return np.asarray(np.sqrt(np.diag(self.covariance)))


def log_information(sums: reml.Sums, phi: Array) -> LogInformation:
    """At variances `phi` (residual last), by central differences of the analytic gradient.

    The covariance is the inverse of half the second derivative of the criterion.
    """
    inside = np.flatnonzero(phi > 0)
    step = 1e-3
    columns = []
    for k in inside:
        up, down = phi.copy(), phi.copy()
        up[k] *= np.exp(step)
        down[k] *= np.exp(-step)
        columns.append((_log_slope(sums, up) - _log_slope(sums, down))[inside] / (2 * step))
    hessian = np.array(columns)
    hessian = (hessian + hessian.T) / 2
    bent, covariance = (np.zeros((len(phi), len(phi))) for _ in range(2))
    bent[np.ix_(inside, inside)] = hessian
    try:
        covariance[np.ix_(inside, inside)] = 2 * np.linalg.inv(hessian)
    except np.linalg.LinAlgError:
        covariance[np.ix_(inside, inside)] = np.nan
    bad = np.diag(covariance) < 0
    covariance[bad, :] = np.nan
    covariance[:, bad] = np.nan
    return LogInformation(bent, covariance)


def _log_slope(sums: reml.Sums, phi: Array) -> Array:
    """The criterion's gradient by the logarithms of the variances `phi` (residual last)."""
    residual = float(phi[-1])
    ratios = phi[:-1] / residual
    value = reml.restricted_likelihood(sums, ratios, residual)
    by_ratio = value.gradient * ratios
    return np.append(by_ratio, value.by_residual * residual - float(by_ratio.sum()))


def component_limits(
    sums: reml.Sums, best: reml.RemlFit, phi: Array, found: LogInformation, kind: IntervalKind,
    students: int,
) -> dict[int, ComponentLimits]:  # fmt: skip
    """Limits of every variance by its place in `phi`; see `IntervalKind` in `fit_variance`."""
    if kind == "none":
        return {}
    profiled = kind == "profile" or (kind == "auto" and students <= PROFILE_STUDENTS)
    log_se = found.standard_errors
    limits = {}
    for k, value in enumerate(phi):
        if profiled or value == 0.0 or not log_se[k] < WIDEST_WALD:
            limits[k] = _profile_limits(_Profile(sums, best, phi, found.bent, k), float(log_se[k]))
        else:
            reach = np.exp(Z95 * log_se[k])
            limits[k] = ComponentLimits(
                float(value / reach), float(value * reach), "Wald on the logarithm"
            )
    return limits


class _Profile:
    """The least criterion with one variance held, followed from place to place: each search starts
    where the last one ended, with the curvature it had learned."""

    def __init__(
        self, sums: reml.Sums, best: reml.RemlFit, phi: Array, bent: Array, which: int
    ) -> None:
        self.sums, self.phi, self.which = sums, phi, which
        self.least = best.value.criterion
        # The best fit holds the residual free; here its own value stands with the ratios.
        self.slope = best.value.gradient / phi[-1]
        self.others = np.array([k for k in range(len(phi)) if k != which])
        self.root = np.sqrt(phi)[self.others]
        self.bent = _by_roots(bent, phi, self.slope)[np.ix_(self.others, self.others)]

    def rise(self, value: float) -> float:
        """How far the root of the criterion's rise is above 1.96, the variance held at `value`."""
        floor = LEAST_RESIDUAL * float(self.phi.sum())
        # A line search that ran away would meet a singular system: no variance can be this large.
        most = 30.0 * float(np.sqrt(self.phi.sum() + value))
        low = np.where(self.others == len(self.phi) - 1, np.sqrt(floor), 0.0)
        start = np.maximum(self.root, np.sqrt(LEAST_START * self.phi.sum()))
        found = find_minimum(
            lambda root: self._criterion(root, value, floor), start, low, most,
            tolerance=EXACT_CRITERION, curvature=self.bent, most=200,
        )  # fmt: skip
        self.root, self.bent = found.at, found.curvature
        # The square root is nearly straight in the logarithm of a variance: fewer steps.
        return float(np.sqrt(max(found.value, 0.0))) - float(np.sqrt(RISE))

    def _criterion(self, root: Array, value: float, floor: float) -> tuple[float, Array]:
        """The criterion above its least, and its slope by the roots of the other variances."""
        full = np.empty(len(self.phi))
        full[self.others] = root**2
        full[self.which] = value
        residual = full[-1] = max(full[-1], floor)
        got = reml.restricted_likelihood(self.sums, full[:-1] / residual, residual)
        slope = np.append(got.gradient / residual, 0.0)
        slope[-1] = got.by_residual - float(got.gradient @ full[:-1]) / residual**2
        return got.criterion - self.least, slope[self.others] * 2 * root


def _by_roots(bent: Array, phi: Array, slope: Array) -> Array:
    """Second derivatives by roots of variances from those by logarithms; of a variance of zero
    twice its slope. Positive definite, so that a search may start from it."""
    root = np.sqrt(phi)
    by_root = np.divide(2.0, root, out=np.zeros_like(root), where=root > 0)
    out = bent * np.outer(by_root, by_root)
    zero = np.flatnonzero(phi[:-1] == 0)
    out[zero, zero] = 2 * np.abs(slope[zero])
    values, vectors = np.linalg.eigh(out)
    values = np.maximum(np.abs(values), 1e-6 * float(np.abs(values).max()) + 1e-12)
    return np.asarray((vectors * values) @ vectors.T)


def _profile_limits(profile: _Profile, log_se: float) -> ComponentLimits:
    """Where the criterion, least over all other variances, has risen by 3.84."""
    phi, which, rise = profile.phi, profile.which, profile.rise
    if phi[which] == 0.0:
        slope = float(profile.slope[which])
        guess = RISE / slope if slope > 0 else np.inf
        start = float(np.clip(guess, 1e-4 * phi[-1], phi.sum()))
        return ComponentLimits(0.0, _above_zero(rise, start), "profile")
    # The Wald limit is a good first guess; a flat criterion would send it out of all bounds.
    step = float(np.exp(np.clip(1.96 * log_se, 0.05, 1.4))) if np.isfinite(log_se) else 4.0
    start = float(phi[which])
    high = _crossing(rise, start, step)
    if which < len(phi) - 1 and rise(0.0) <= 0:
        return ComponentLimits(0.0, high, "profile")
    return ComponentLimits(
        _crossing(rise, start, 1 / step, 1e-6 * float(phi.sum())), high, "profile"
    )


def _above_zero(rise: Callable[[float], float], start: float) -> float:
    """The upper limit of a variance estimated as zero, from a guess that may lie beyond it.

    Large tables know a variance of zero to far less than any share of the residual.
    """
    inner = start
    while rise(inner) > 0:
        inner /= 10
        if inner < 1e-12 * start:
            return 0.0
    return _crossing(rise, inner, 4.0)


def _crossing(
    rise: Callable[[float], float], start: float, factor: float, bottom: float = 0.0
) -> float:
    """The variance at which `rise` turns from below zero (at `start`) to above it."""
    # Each search begins where the last one ended, so the same variance asked twice need not give
    # the same rise to the last digit: what has been found at an end is kept, or the root-finder
    # may see two ends of one sign.
    known: dict[float, float] = {}

    def at(log: float) -> float:
        if log not in known:
            known[log] = rise(float(np.exp(log)))
        return known[log]

    inner, outer = float(np.log(start)), float(np.log(start) + np.log(factor))
    if at(inner) >= 0:
        return start
    while at(outer) < 0:
        if np.exp(outer) < bottom:
            return 0.0
        if outer > np.log(1e9 * start):
            return float("inf")
        inner, outer = outer, float(outer + np.log(factor))
    return float(np.exp(find_root(at, inner, outer, tolerance=EXACT_LOG)))
