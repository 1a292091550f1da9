"""Scores of stated chances, and how well they are calibrated over many cases.

Brier, Monthly Weather Review 1950; 78: 1-3: the mean of the squared distances of chance and truth.
Murphy, J Applied Meteorology 1973; 12: 595-600: the same as reliability - resolution + uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from scipy.special import betaincinv

LEAST = 0.01
"""A chance below it, or as near to one, is scored as this: nobody is that sure of a joint, and
a zero that comes true would outweigh everything else (our judgement)."""
BINS = (0.0, 0.1, 0.3, 0.5, 0.7, 0.9, 1.0)
"""Edges of the bins of a calibration: fine where learners say most (our judgement)."""


@dataclass(frozen=True, slots=True)
class ChanceScore:
    """Scores of some chances, the lower the better. brier: 0 to 1. log: bits a statement."""

    brier: float
    log: float


def score_chances(chances: Sequence[float], there: Sequence[bool]) -> ChanceScore:
    """Brier and log score of chances (0 to 1) beside what was true; both of one length, not 0."""
    pairs = list(zip(chances, there, strict=True))
    brier = sum((chance - true) ** 2 for chance, true in pairs) / len(pairs)
    log = sum(-math.log2(_kept_in(chance if true else 1 - chance)) for chance, true in pairs)
    return ChanceScore(brier, log / len(pairs))


def _kept_in(chance: float) -> float:
    return min(max(chance, LEAST), 1 - LEAST)


@dataclass(frozen=True, slots=True)
class CalibrationBin:
    """Statements of about one chance: how many, what was said on average, and how often it was so.

    low, high: 95% interval of the share (Clopper-Pearson, Biometrika 1934; 26: 404-413).
    """

    count: int
    stated: float
    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class ChanceCalibration:
    """Calibration over all that was stated; the parts are Murphy's, over the bins.

    brier: of the statements themselves. within: what the bins leave out of it, brier minus
    (reliability - resolution + uncertainty); zero where every bin holds one chance only.
    """

    count: int
    bins: tuple[CalibrationBin, ...]
    brier: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float


def chance_calibration(
    chances: Sequence[float], there: Sequence[bool], edges: Sequence[float] = BINS
) -> ChanceCalibration:
    """How well chances agree with how often it was so. edges: of the bins, from 0 to 1.

    A bin holds what lies from its lower edge up to, and not at, its upper; the last holds 1 too.
    """
    bins = tuple(_bins(chances, there, edges))
    count = len(chances)
    base = sum(there) / count
    reliability = sum(one.count * (one.stated - one.share) ** 2 for one in bins) / count
    resolution = sum(one.count * (one.share - base) ** 2 for one in bins) / count
    uncertainty = base * (1 - base)
    brier = score_chances(chances, there).brier
    within = brier - (reliability - resolution + uncertainty)
    return ChanceCalibration(count, bins, brier, reliability, resolution, uncertainty, within)


def _bins(
    chances: Sequence[float], there: Sequence[bool], edges: Sequence[float]
) -> Iterator[CalibrationBin]:
    last = len(edges) - 2
    for number, (low, high) in enumerate(pairwise(edges)):
        inside = [
            (chance, true)
            for chance, true in zip(chances, there, strict=True)
            if low <= chance < high or (number == last and chance == high)
        ]
        if inside:
            count, hits = len(inside), sum(true for _, true in inside)
            stated = sum(chance for chance, _ in inside) / count
            yield CalibrationBin(count, stated, hits / count, *exact_interval(hits, count))


def exact_interval(hits: int, count: int) -> tuple[float, float]:
    """95% interval of a share, Clopper and Pearson's."""
    low = float(betaincinv(hits, count - hits + 1, 0.025)) if hits else 0.0
    high = float(betaincinv(hits + 1, count - hits, 0.975)) if hits < count else 1.0
    return low, high
