"""Limits of agreement of two methods or two examiners, with exact limits of the limits.

Bland JM, Altman DG, Lancet 1986;i:307-310; the exact intervals rest on the non-central t
distribution of a normal quantile (Carkeet A, Optom Vis Sci 2015;92:e71-e80, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.ground.distributions import t_quantile
from sidewise.ground.estimate import Estimate
from sidewise.ground.interval import Z95


@dataclass(frozen=True, slots=True)
class LimitsOfAgreement:
    """Mean difference, its spread, and the limits that hold 95% of differences.

    `lower` and `upper` have exact 95% intervals; `lower_1986` and `upper_1986` the approximate
    ones of the paper (t, standard error sqrt(3 s^2 / n)). `slope` is that of differences on means
    (not zero: the difference depends on the size).
    """

    n: int
    mean: Estimate
    sd: float
    lower: Estimate
    upper: Estimate
    lower_1986: Estimate
    upper_1986: Estimate
    slope: Estimate
    warnings: tuple[str, ...] = ()

    @property
    def sem(self) -> float:
        """Error of one reading if both methods err alike: sd / sqrt(2)."""
        return self.sd / float(np.sqrt(2))


def limits_of_agreement(first: Array, second: Array, *, z: float = Z95) -> LimitsOfAgreement:
    """Limits of first - second, pairs with a missing reading left out; z standard deviations.

    mean +/- z s. Assumes differences normal and independent, one pair per subject. The exact
    interval of mean + z s is mean + s * t'(p; n-1, z sqrt n) / sqrt n.
    """
    from scipy.stats import nct

    if first.ndim != 1 or first.shape != second.shape:
        raise UserError("readings", f"{first.size} and {second.size}", "two lists of equal length")
    known = ~(np.isnan(first) | np.isnan(second))
    difference, middle = (first - second)[known], ((first + second) / 2)[known]
    n = difference.size
    if n < 3:
        raise UserError("pairs", n, "three pairs or more", "")
    mean, sd = float(difference.mean()), float(difference.std(ddof=1))
    root = float(np.sqrt(n))
    factors = nct.ppf([0.025, 0.975], n - 1, z * root) / root if sd > 0 else np.array([z, z])
    inner, outer = float(factors[0]) * sd, float(factors[1]) * sd
    q = float(t_quantile(0.975, n - 1))
    se, se_limit = sd / root, float(np.sqrt(3)) * sd / root
    low, high = mean - z * sd, mean + z * sd
    return LimitsOfAgreement(
        n=n,
        mean=Estimate(mean, mean - q * se, mean + q * se, se, "t"),
        sd=sd,
        lower=Estimate(low, mean - outer, mean - inner, method="exact, non-central t"),
        upper=Estimate(high, mean + inner, mean + outer, method="exact, non-central t"),
        lower_1986=Estimate(low, low - q * se_limit, low + q * se_limit, se_limit, "approximate"),
        upper_1986=Estimate(
            high, high - q * se_limit, high + q * se_limit, se_limit, "approximate"
        ),
        slope=_slope(middle, difference),
        warnings=(f"{n} pairs only: the limits are wide.",) if n < 30 else (),
    )


def _slope(x: Array, y: Array) -> Estimate:
    spread = float(((x - x.mean()) ** 2).sum())
    if spread <= 0:
        return Estimate(float("nan"), note="all means are equal")
    slope = float(((x - x.mean()) * (y - y.mean())).sum()) / spread
    residual = y - y.mean() - slope * (x - x.mean())
    df = x.size - 2
    se = float(np.sqrt((residual**2).sum() / df / spread))
    half = float(t_quantile(0.975, df)) * se
    return Estimate(slope, slope - half, slope + half, se, "least squares")


def repeatability(first: Array, second: Array, *, z: float = 2.0) -> float:
    """Within what two readings by one method differ: z * sqrt(mean squared difference).

    The 1986 paper takes z = 2 and the mean difference as zero.
    """
    difference = (first - second)[~(np.isnan(first) | np.isnan(second))]
    return z * float(np.sqrt((difference**2).mean()))


def corrected_sd(means: Array, first: Array, second: Array) -> float:
    """SD of single differences from means of two readings by each of two methods.

    sqrt(s_d^2 + s_1^2/4 + s_2^2/4): `means` are the differences of the means; `first` and `second`
    the differences between the two readings of each method.
    """
    parts = float(means.var(ddof=1)) + (float(first.var(ddof=1)) + float(second.var(ddof=1))) / 4
    return float(np.sqrt(parts))
