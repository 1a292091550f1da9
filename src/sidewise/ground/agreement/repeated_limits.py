"""Limits of agreement of two methods when each subject was read several times by each.

Differences of means are closer together than differences of single readings: what repetition has
taken out is put back. The true value is taken as constant between a subject's readings.

Bland JM, Altman DG, J Biopharm Stat 2007;17:571-582; intervals from recovered variances: Zou GY,
Stat Methods Med Res 2013;22:630-642 (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.ground.distributions import chi_squared_quantile, t_quantile
from sidewise.ground.estimate import Estimate
from sidewise.ground.interval import Z95


@dataclass(frozen=True, slots=True)
class RepeatedLimits:
    """Limits that hold 95% of differences of *single* readings, first less second.

    `sd` of single differences; `within_first`, `within_second` the standard deviations of repeated
    readings of one subject; `n` subjects. `lower` and `upper` with 95% limits.
    """

    n: int
    mean: Estimate
    sd: float
    within_first: float
    within_second: float
    lower: Estimate
    upper: Estimate


def limits_with_repeats(first: Array, second: Array, *, z: float = Z95) -> RepeatedLimits:
    """Limits of first - second from (subjects, readings) by each method, NaN where none was made.

    variance of single differences = s_d^2 + (1 - mean 1/m1) s_1^2 + (1 - mean 1/m2) s_2^2, with s_d
    that of differences of means, s_1 and s_2 within subjects, m readings a subject. UserError for
    fewer than three subjects read by both, or nobody read twice by a method.
    """
    if first.ndim != 2 or second.ndim != 2 or len(first) != len(second):
        raise UserError(
            "readings", f"{first.shape} and {second.shape}", "two tables of the same subjects", ""
        )
    kept = ~np.isnan(first).all(axis=1) & ~np.isnan(second).all(axis=1)
    n = int(kept.sum())
    if n < 3:
        raise UserError("subjects", n, "three subjects or more, read by both methods", "")
    one, two = _within("first", first[kept]), _within("second", second[kept])
    difference = one.means - two.means
    mean, between = float(difference.mean()), float(difference.var(ddof=1))
    parts = [(between, n - 1), *((m.share * m.variance, m.freedom) for m in (one, two))]
    variance = sum(value for value, _ in parts)
    sd = float(np.sqrt(variance))
    narrow, wide = _recovered(parts, variance)
    q, se = float(t_quantile(0.975, n - 1)), float(np.sqrt(between / n))
    out = float(np.hypot(Z95 * se, z * (wide - sd)))
    inside = float(np.hypot(Z95 * se, z * (sd - narrow)))
    low, high, how = mean - z * sd, mean + z * sd, "recovered variances"
    return RepeatedLimits(
        n, Estimate(mean, mean - q * se, mean + q * se, se, "t"), sd,
        float(np.sqrt(one.variance)), float(np.sqrt(two.variance)),
        Estimate(low, low - out, low + inside, method=how),
        Estimate(high, high - inside, high + out, method=how),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Within:
    """A method's means by subject, variance within subjects with its freedom, and the share of it
    that averaging has taken out."""

    means: Array
    variance: float
    freedom: int
    share: float


def _within(name: str, readings: Array) -> _Within:
    many = (~np.isnan(readings)).sum(axis=1)
    means = np.nanmean(readings, axis=1)
    freedom = int((many - 1).sum())
    if not freedom:
        raise UserError(
            f"{name} method", "one reading of each subject", "somebody read twice",
            "Use limits_of_agreement for single readings.",
        )  # fmt: skip
    squares = float(np.nansum((readings - means[:, None]) ** 2))
    return _Within(means, squares / freedom, freedom, 1 - float((1 / many).mean()))


def _recovered(parts: list[tuple[float, int]], variance: float) -> tuple[float, float]:
    """Limits of the standard deviation of a sum of variances, from those of its parts."""
    low = sum((v * (1 - df / chi_squared_quantile(0.975, df))) ** 2 for v, df in parts)
    high = sum((v * (df / chi_squared_quantile(0.025, df) - 1)) ** 2 for v, df in parts)
    return float(np.sqrt(max(variance - low**0.5, 0.0))), float(np.sqrt(variance + high**0.5))
