"""Internal consistency: coefficient alpha, what happens without an item, item-rest correlation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.distributions import f_quantile
from sidewise.ground.estimate import Estimate, no_estimate
from sidewise.ground.interval import Z95


@dataclass(frozen=True, slots=True)
class Consistency:
    """Alpha of a set of items (or stations), whole and without each of them.

    `alpha_if_deleted` and `item_rest` (correlation of an item with the sum of the others) have one
    entry per item. `n` counts the rows without a missing value; only these are used.
    """

    alpha: Estimate
    standardised: float
    mean_correlation: float
    alpha_if_deleted: Array
    item_rest: Array
    n: int
    items: int


def consistency(items: Array) -> Consistency:
    """Coefficient alpha of a (people, items) table.

    alpha = k/(k-1) * (1 - sum of item variances / variance of the sum); interval by Feldt's F
    distribution (n-1 and (n-1)(k-1) degrees of freedom); standard error without the assumption of
    equal covariances. Assumes people crossed with items.

    Cronbach LJ, Psychometrika 1951;16:297-334; Feldt LS, Psychometrika 1965;30:357-370; van Zyl
    JM, Neudecker H, Nel DG, Psychometrika 2000;65:271-280.
    """
    table = items[~np.isnan(items).any(axis=1)]
    n, k = table.shape
    empty = np.full(items.shape[1], np.nan)
    if n < 3 or k < 2:
        note = f"{n} complete rows and {k} items: too few for alpha"
        return Consistency(no_estimate(note), np.nan, np.nan, empty, empty, n, k)
    cov = np.cov(table, rowvar=False)
    if cov.sum() <= 0 or not np.isfinite(cov).all():
        note = "everyone has the same total"
        return Consistency(no_estimate(note), np.nan, np.nan, empty, empty, n, k)
    r = _mean_correlation(cov)
    return Consistency(
        alpha=_with_interval(_alpha(cov), cov, n),
        standardised=k * r / (1 + (k - 1) * r),
        mean_correlation=r,
        alpha_if_deleted=_without_each(cov),
        item_rest=_item_rest(cov),
        n=n,
        items=k,
    )


def _alpha(cov: Array) -> float:
    k = cov.shape[0]
    total = float(cov.sum())
    return k / (k - 1) * (1 - float(np.trace(cov)) / total) if total > 0 else np.nan


def _with_interval(alpha: float, cov: Array, n: int) -> Estimate:
    k = cov.shape[0]
    df = (n - 1, (n - 1) * (k - 1))
    low, high = (1 - (1 - alpha) * f_quantile(p, *df) for p in (0.975, 0.025))
    return Estimate(alpha, low, high, _standard_error(cov, n), "alpha, Feldt interval")


def _standard_error(cov: Array, n: int) -> float:
    k = cov.shape[0]
    total, trace = float(cov.sum()), float(np.trace(cov))
    square = cov @ cov
    inner = total * (float(np.trace(square)) + trace**2) - 2 * trace * float(square.sum())
    return float(np.sqrt(2 * k**2 / ((k - 1) ** 2 * total**3) * inner / n))


def _mean_correlation(cov: Array) -> float:
    sd = np.sqrt(np.diag(cov))
    keep = sd > 0
    if keep.sum() < 2:
        return float("nan")
    corr = cov[np.ix_(keep, keep)] / np.outer(sd[keep], sd[keep])
    k = int(keep.sum())
    return float((corr.sum() - k) / (k * (k - 1)))


def _without_each(cov: Array) -> Array:
    k = cov.shape[0]
    if k < 3:
        return np.full(k, np.nan)
    masks = ~np.eye(k, dtype=bool)
    return np.array([_alpha(cov[np.ix_(keep, keep)]) for keep in masks])


def _item_rest(cov: Array) -> Array:
    """Correlation of each item with the sum of the others; NaN where either has no spread."""
    own = np.diag(cov)
    with_rest = cov.sum(axis=1) - own
    rest = cov.sum() - 2 * cov.sum(axis=1) + own
    with np.errstate(invalid="ignore", divide="ignore"):
        r: Array = np.where((own > 0) & (rest > 0), with_rest / np.sqrt(own * rest), np.nan)
    return r


def correlation_interval(r: float, n: int) -> Estimate:
    """A correlation with its 95% interval by Fisher's transformation (n - 3 in the variance).

    Fisher RA, Metron 1921;1:3-32 (citation from memory). Needs n > 3 and |r| < 1.
    """
    if not np.isfinite(r):
        return no_estimate("no spread in one of the two")
    if n <= 3 or abs(r) >= 1:
        return Estimate(r, method="correlation", note="too few for an interval")
    z, half = np.arctanh(r), Z95 / np.sqrt(n - 3)
    return Estimate(r, float(np.tanh(z - half)), float(np.tanh(z + half)), method="correlation")
