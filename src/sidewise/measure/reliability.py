"""From agreement studies to the error of one reading: SEM, MDC, limits of agreement."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike

from sidewise.errors import UserError

NORMAL = NormalDist()
Z95 = 1.96  # The rounded value that the studies and the definition of MDC95 use.
Z90 = 1.645


def sem_from_icc(sd: float, icc: float) -> float:
    """Standard error of measurement of one reading.

    sd * sqrt(1 - icc), in the units of `sd` (>= 0), the spread between people in the same study;
    icc from 0 to 1. An SEM belongs to the spread it came from: an ICC alone says nothing of error.

    Weir JP, J Strength Cond Res 2005; 19(1):231-240. UserError outside these ranges.
    """
    if not sd >= 0:
        raise UserError("sd", sd, "a standard deviation of 0 or more")
    if not 0 <= icc <= 1:
        raise UserError("icc", icc, "an intraclass correlation from 0 to 1")
    return sd * sqrt(1 - icc)


def mdc(sem: float, z: float = Z95) -> float:
    """Smallest difference between two readings that error alone seldom produces.

    z * sqrt(2) * sem, in the units of `sem` (>= 0), for two readings with the same instrument and
    examiner. With z = 1.96 exceeded by chance in 5% of unchanged patients, with 1.645 in 10%.

    Weir JP, J Strength Cond Res 2005; 19(1):231-240. UserError for a negative SEM.
    """
    if not sem >= 0:
        raise UserError("sem", sem, "a standard error of 0 or more")
    return z * sqrt(2) * sem


def sem_from_mdc(detectable: float, z: float = Z95) -> float:
    """The SEM behind a printed minimal detectable change: detectable / (z * sqrt(2))."""
    return detectable / (z * sqrt(2))


@dataclass(frozen=True, slots=True)
class Interval:
    """From low to high."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LimitsOfAgreement:
    """Bias of one method against another and the limits that hold 95% of their differences."""

    n: int
    bias: float
    sd: float
    low: float
    high: float
    bias_ci: Interval
    low_ci: Interval
    high_ci: Interval

    @property
    def sem(self) -> float:
        """Error of one reading if both methods err alike: sd / sqrt(2)."""
        return self.sd / sqrt(2)


def limits_of_agreement(first: ArrayLike, second: ArrayLike, z: float = Z95) -> LimitsOfAgreement:
    """Mean difference `first - second` and mean -/+ z SD, with 95% confidence intervals.

    Two arrays of n >= 3 paired readings in one unit; standard errors sd/sqrt(n) for the bias and
    sqrt(3/n) sd for a limit, with t on n - 1 degrees of freedom, as in the paper. Its own example
    rounds the multiple to z = 2.

    Bland JM, Altman DG, Lancet 1986; 1:307-310. UserError for unequal lengths or under 3 pairs.
    """
    from scipy.stats import t as student

    a, b = np.asarray(first, float), np.asarray(second, float)
    if a.shape != b.shape or a.ndim != 1 or a.size < 3 or not np.isfinite(a - b).all():
        got = f"{a.size} and {b.size}"
        raise UserError("readings", got, "two equal lists of at least 3 numbers")
    d = a - b
    n, bias, sd = d.size, float(d.mean()), float(d.std(ddof=1))
    t = float(student.ppf(0.975, n - 1))
    half_bias, half_limit = t * sd / sqrt(n), t * sd * sqrt(3 / n)
    low, high = bias - z * sd, bias + z * sd
    return LimitsOfAgreement(
        n, bias, sd, low, high, _around(bias, half_bias), _around(low, half_limit),
        _around(high, half_limit),
    )  # fmt: skip


def _around(middle: float, half: float) -> Interval:
    return Interval(middle - half, middle + half)
