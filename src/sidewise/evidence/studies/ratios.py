"""Likelihood ratios with intervals, exact intervals of a share, and odds to probability."""

from __future__ import annotations

import math
from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.evidence.studies.counts import TwoByTwo
from sidewise.ground.interval import Z95


@dataclass(frozen=True, slots=True)
class LimitedEstimate:
    """An estimate that always has its 95% limits."""

    estimate: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class LikelihoodRatios:
    """Positive and negative likelihood ratio and diagnostic odds ratio; `warning` may be empty."""

    positive: LimitedEstimate
    negative: LimitedEstimate
    odds_ratio: LimitedEstimate
    warning: str = ""


def likelihood_ratios(table: TwoByTwo) -> LikelihoodRatios:
    """LR+ = sens / (1 - spec), LR- = (1 - sens) / spec, with log-normal 95% limits.

    var ln LR+ = 1/tp - 1/(tp+fn) + 1/fp - 1/(fp+tn), and with fn, tn for LR-. A table with an
    empty cell gets 0.5 in every cell, and says so.

    Simel DL, Samsa GP, Matchar DB, J Clin Epidemiol 1991; 44:763-770.
    """
    warning = "0.5 added to every cell because one was empty." if table.has_empty_cell else ""
    t = table.corrected() if warning else table
    sick, well = t.tp + t.fn, t.fp + t.tn
    positive = _around(t.sensitivity / (t.fp / well), 1 / t.tp - 1 / sick + 1 / t.fp - 1 / well)
    negative = _around((t.fn / sick) / t.specificity, 1 / t.fn - 1 / sick + 1 / t.tn - 1 / well)
    odds = _around((t.tp * t.tn) / (t.fp * t.fn), 1 / t.tp + 1 / t.fn + 1 / t.fp + 1 / t.tn)
    return LikelihoodRatios(positive, negative, odds, warning)


def _around(estimate: float, variance: float) -> LimitedEstimate:
    half = Z95 * math.sqrt(variance)
    return LimitedEstimate(estimate, estimate * math.exp(-half), estimate * math.exp(half))


def exact_share(count: float, size: float) -> LimitedEstimate:
    """count / size with Clopper and Pearson's exact 95% limits (Biometrika 1934; 26:404-413)."""
    from sidewise.ground.distributions import beta_quantile

    if not 0 <= count <= size or size <= 0:
        raise UserError("share", (count, size), "a count from 0 to the size of the group")
    low = 0.0 if count == 0 else beta_quantile(0.025, count, size - count + 1)
    high = 1.0 if count == size else beta_quantile(0.975, count + 1, size - count)
    return LimitedEstimate(count / size, low, high)


def post_test(pre_test: float, ratio: float) -> float:
    """Probability after a result: odds(pre_test) * ratio, back to a probability.

    `pre_test` 0..1, `ratio` 0 or more. Fagan TJ, N Engl J Med 1975; 293:257.
    """
    if not 0 <= pre_test <= 1 or not ratio >= 0:
        raise UserError("pre-test and ratio", (pre_test, ratio), "0 to 1, and 0 or more")
    return pre_test * ratio / (pre_test * ratio + 1 - pre_test)
