"""How much of a station's spread lies between circuits or between examiners."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.ground.arrays import Array
from sidewise.ground.distributions import f_above


@dataclass(frozen=True, slots=True)
class BetweenGroups:
    """One-way comparison of groups: share of variance, its corrected form and the test.

    `eta_squared` = between / total sum of squares, inflated by chance in small groups;
    `omega_squared` the corrected share (may be below zero: shown as it is); `variance` the
    variance component between groups in squared units (not below zero).
    """

    groups: int
    n: int
    eta_squared: float
    omega_squared: float
    f: float
    p: float
    variance: float
    note: str = ""


def between_groups(values: Array, labels: NDArray[Any]) -> BetweenGroups:
    """One-way analysis of variance of `values` by `labels` (missing values left out).

    omega^2 = (SSB - (k-1) MSW) / (SST + MSW); variance component = (MSB - MSW) / n0 with n0 =
    (N - sum n_i^2 / N) / (k - 1). Students are taken as randomly placed in the groups.
    """
    known = ~np.isnan(values)
    y = values[known]
    names, group = np.unique(labels[known].astype(str), return_inverse=True)
    k, n = names.size, y.size
    if k < 2 or n <= k:
        return _none(k, n, "one group only" if k < 2 else "too few to compare")
    sizes = np.bincount(group)
    means = np.bincount(group, y) / sizes
    ssb = float((sizes * (means - y.mean()) ** 2).sum())
    sst = float(((y - y.mean()) ** 2).sum())
    if sst <= 0:
        return _none(k, n, "all marks are equal")
    return _shares(ssb, sst, sizes, n)


def _shares(ssb: float, sst: float, sizes: NDArray[Any], n: int) -> BetweenGroups:
    k = sizes.size
    msb, msw = ssb / (k - 1), (sst - ssb) / (n - k)
    ratio = msb / msw if msw > 0 else float("inf")
    n0 = (n - float((sizes**2).sum()) / n) / (k - 1)
    return BetweenGroups(
        groups=k,
        n=n,
        eta_squared=ssb / sst,
        omega_squared=(ssb - (k - 1) * msw) / (sst + msw),
        f=ratio,
        p=f_above(ratio, k - 1, n - k),
        variance=max(0.0, (msb - msw) / n0),
    )


def _none(k: int, n: int, why: str) -> BetweenGroups:
    nan = float("nan")
    return BetweenGroups(k, n, nan, nan, nan, nan, nan, why)
