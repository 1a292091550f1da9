"""From the answers under each parameter draw to one number with its interval.

Draw d was made before the findings were seen; its weight is the probability it gives to them
(importance sampling with the prior as proposal). The posterior shown is the weighted mean, low and
high are weighted centiles, and Kish's effective number of draws, (sum w)^2 / sum w^2, says how many
draws really count.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.elimination import solve
from sidewise.network.evidence import Evidence
from sidewise.network.model import Network
from sidewise.network.solution import Solution

FEWEST_EFFECTIVE = 100.0
CENTILES = (0.025, 0.975)


@dataclass(frozen=True, eq=False)
class Summary:
    """Posterior with intervals.

    mean, low, high: (V, Lmax) by level, 0 beyond the last level.
    present, present_low, present_high: (V,) probability that the condition is there at any level.
    weight: (D,) share of each draw, summing to 1. effective: how many draws count.
    log_evidence: log of the mean probability of the findings over the draws.
    """

    mean: Array
    low: Array
    high: Array
    present: Array
    present_low: Array
    present_high: Array
    weight: Array
    effective: float
    log_evidence: float
    warnings: tuple[str, ...]


def posterior(network: Network, evidence: Evidence, *, workers: int | None = None) -> Summary:
    """Exact posterior under each draw, weighted and summarised."""
    return summarise(network, solve(network, evidence, workers=workers))


def summarise(network: Network, solution: Solution) -> Summary:
    """Weighted mean and 2.5 and 97.5 weighted centiles of the draws of a solution."""
    weight = evidence_weights(solution.log_evidence)
    levels = np.asarray(network.structure.levels)
    mean = np.einsum("d,dvl->vl", weight, solution.marginal)
    low, high, ends = _intervals(solution.marginal, weight, levels)
    effective = float(1.0 / np.sum(weight * weight))
    top = float(solution.log_evidence.max())
    log_evidence = top + float(np.log(np.mean(np.exp(solution.log_evidence - top))))
    return Summary(
        mean,
        low,
        high,
        1.0 - mean[:, 0],
        ends[0],
        ends[1],
        weight,
        effective,
        log_evidence,
        _warnings(effective, len(weight)),
    )


def evidence_weights(log_evidence: Array) -> Array:
    """(D,) weights proportional to exp(log_evidence), summing to 1, without overflow."""
    # A hundred findings have a probability too small for a double; only ratios matter.
    raw = np.exp(log_evidence - log_evidence.max())
    return np.asarray(raw / raw.sum())


def weighted_centile(values: Array, weight: Array, shares: tuple[float, ...]) -> Array:
    """(len(shares), N) weighted centiles of each column of `values` (D, N).

    Each sorted value sits at the middle of its own weight; between two values linear
    interpolation, beyond the first and last the value itself. With equal weights this is
    Hazen's rule (Hyndman and Fan, American Statistician 1996; 50:361-365, type 5).
    """
    order = np.argsort(values, axis=0)
    heights = weight[order]
    places = np.cumsum(heights, axis=0) - 0.5 * heights
    ordered = np.take_along_axis(values, order, axis=0)
    columns = range(values.shape[1])
    ends = [np.interp(shares, places[:, c], ordered[:, c]) for c in columns]
    return np.asarray(ends).reshape(-1, len(shares)).T


def _intervals(
    marginal: Array, weight: Array, levels: np.ndarray[tuple[int], np.dtype[np.int_]]
) -> tuple[Array, Array, Array]:
    """Low and high (V, Lmax) of each level that exists, and both (2, V) of "at any level".

    Level 0 is what "at any level" leaves over, and of two levels the second is the same as it,
    so that fewer columns have to be sorted: the centiles are symmetric.
    """
    count = len(levels)
    higher = np.arange(marginal.shape[-1]) < levels[:, None]
    higher[:, 0] = False
    higher[levels == 2] = False
    columns = np.concatenate([1.0 - marginal[:, :, 0], marginal[:, higher]], axis=1)
    ends = weighted_centile(columns, weight, CENTILES)
    present = ends[:, :count]
    low, high = np.zeros(higher.shape), np.zeros(higher.shape)
    low[higher], high[higher] = ends[:, count:]
    low[:, 0], high[:, 0] = 1.0 - present[::-1]
    low[levels == 2, 1], high[levels == 2, 1] = present[:, levels == 2]
    return low, high, present


def _warnings(effective: float, draws: int) -> tuple[str, ...]:
    if effective >= FEWEST_EFFECTIVE or draws < FEWEST_EFFECTIVE:
        return ()
    return (
        f"Only about {effective:.0f} of {draws} parameter draws agree with these findings: "
        "the intervals are rough.",
    )
