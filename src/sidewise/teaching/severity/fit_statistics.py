"""Do an examiner's marks follow the model: infit and outfit mean squares.

Outfit is the mean of squared standardised residuals, infit the same weighted by information.
Both are averaged over what is known of each student's ability (the posterior), not computed at a
point estimate: averaged so, their expectation under the model is exactly 1, with no shrinkage.

Expectation 1; 0.5 to 1.5 as limits for medical oral examinations: Measurement Research
Associates, November 2008. Definitions: Wright BD, Masters GN, Rating Scale Analysis, 1982 (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array, IntArray
from sidewise.teaching.severity.facets import FacetState, FacetTable

LIMITS = (0.5, 1.5)
# Ratings handled at a time: bounds memory only.
CHUNK = 100_000


@dataclass(frozen=True)
class FitMeanSquares:
    """Mean squares by group with their standard errors (from the spread between ratings)."""

    infit: Array
    outfit: Array
    infit_se: Array
    outfit_se: Array
    n: IntArray


def fit_mean_squares(
    table: FacetTable,
    state: FacetState,
    student: IntArray,
    pair: IntArray,
    category: IntArray,
    group: IntArray,
    groups: int,
) -> FitMeanSquares:
    """Infit and outfit of each group (examiners or stations) over its ratings.

    outfit = mean of E[(x - m)^2/v], infit = sum of E[(x - m)^2] / sum of E[v], where m and v are
    the model's mean and variance of a rating and E is over the student's posterior.
    """
    x = np.arange(table.top + 1.0)
    p = state.probability
    mean = np.einsum("x,exq->eq", x, p)
    variance = np.einsum("x,exq->eq", x**2, p) - mean**2
    sums = np.zeros((6, groups))
    for start in range(0, len(student), CHUNK):
        rows = slice(start, start + CHUNK)
        posterior = state.posterior[student[rows]]
        square = (category[rows, None] - mean[pair[rows]]) ** 2
        v = variance[pair[rows]]
        raw = np.einsum("rq,rq->r", posterior, square)
        information = np.einsum("rq,rq->r", posterior, v)
        # Far nodes have vanishing variance and vanishing posterior: floored, not divided by 0.
        ratio = np.einsum("rq,rq->r", posterior, square / np.maximum(v, 1e-10))
        for k, part in enumerate((raw, information, ratio, ratio**2, raw**2, raw * information)):
            sums[k] += np.bincount(group[rows], part, groups)
    return _summed(sums, np.bincount(group, minlength=groups))


def _summed(sums: Array, n: IntArray) -> FitMeanSquares:
    raw, information, ratio, ratio2, raw2, cross = sums
    with np.errstate(invalid="ignore", divide="ignore"):
        outfit = ratio / n
        infit = raw / information
        outfit_se = np.sqrt(np.maximum(ratio2 / n - outfit**2, 0) / n)
        # Delta method for a ratio; information varies little, so its square is left at its mean.
        spread = raw2 - 2 * infit * cross + infit**2 * information**2 / n
        infit_se = np.sqrt(np.maximum(spread, 0)) / information
    return FitMeanSquares(infit, outfit, infit_se, outfit_se, n)


def fit_words(infit: float, outfit: float) -> str:
    """The mean squares in words: erratic above 1.5, too uniform below 0.5."""
    if not np.isfinite(infit) or not np.isfinite(outfit):
        return "not known"
    if max(infit, outfit) > LIMITS[1]:
        return "erratic: marks scatter more than the model expects"
    if min(infit, outfit) < LIMITS[0]:
        return "too uniform: marks vary less than the model expects"
    return "as expected"
