"""What several readings tell together: sampled from the network, one result after another.

The discounted sum by which a plan is chosen is a rule of thumb. Here each reading's result is drawn
given those before it, exactly as the network has it, and the entropy that is left is averaged:

    gain = H(now) - mean over samples of H(given all results)

with H the sum over the conditions of interest of the entropies of their levels (bits), as for the
gain of one reading (`sidewise.network.gains`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.interval import Z95
from sidewise.network import Evidence, Network, solve

SAMPLES = 96
TOGETHER = 12
"""Rows in one elimination: more share the cost of its plan, fewer have a smaller union of what
was found."""


@dataclass(frozen=True, slots=True)
class JointGain:
    """Expected bits of several readings together, with the 95% interval of the sampling.

    before: bits of doubt there are to begin with.
    """

    bits: float
    low: float
    high: float
    before: float


def joint_gain(
    network: Network,
    evidence: Evidence,
    readings: Sequence[int],
    interest: Sequence[int],
    seed: int,
    samples: int = SAMPLES,
) -> JointGain:
    """What the readings can be expected to tell together, under one set of parameters.

    readings: numbers not in the evidence. interest: numbers of the variables that count.
    """
    keep = np.asarray(interest, dtype=np.intp)
    before = float(_doubt(solve(network, evidence).marginal[:, keep])[0])
    if not readings:
        return JointGain(0.0, 0.0, 0.0, before)
    rng = np.random.default_rng(seed)
    left: list[Array] = []
    while sum(map(len, left)) < samples:
        rows = min(TOGETHER, samples - sum(map(len, left)))
        found = _sampled(network, evidence, tuple(readings), rows, rng)
        left.append(_doubt(solve(network, found).marginal[:, keep]))
    doubt = np.concatenate(left)
    error = Z95 * float(doubt.std(ddof=1)) / len(doubt) ** 0.5
    bits = before - float(doubt.mean())
    # No gain is negative; a sample of very little may come out so.
    low, middle, high = (max(0.0, bits + shift) for shift in (-error, 0.0, error))
    return JointGain(middle, low, high, before)


def _sampled(
    network: Network,
    evidence: Evidence,
    readings: tuple[int, ...],
    rows: int,
    rng: np.random.Generator,
) -> Evidence:
    """Rows of evidence in which every reading has a result, drawn given those before it."""
    found = Evidence(
        evidence.readings,
        np.repeat(evidence.absent, rows, axis=0),
        np.repeat(evidence.present, rows, axis=0),
    )
    log_now = solve(network, found, marginals=False).log_evidence
    for reading in readings:
        log_absent = solve(
            network, _with(found, reading, np.zeros(rows)), marginals=False
        ).log_evidence
        # By subtraction, as for single gains: a present result is what is left of now.
        share = np.exp(np.minimum(log_absent - log_now, 0.0))
        present = rng.random(rows) >= share
        log_now = np.where(present, log_now + np.log1p(-np.where(present, share, 0.0)), log_absent)
        found = _with(found, reading, present.astype(float))
    return found


def _with(evidence: Evidence, reading: int, present: Array) -> Evidence:
    at = int(np.searchsorted(evidence.readings, reading))
    return Evidence(
        (*evidence.readings[:at], reading, *evidence.readings[at:]),
        np.insert(evidence.absent, at, 1.0 - present, axis=1),
        np.insert(evidence.present, at, present, axis=1),
    )


def _doubt(marginal: Array) -> Array:
    """(rows,) sum over variables of the entropy of their levels, bits; marginal (rows, V, L)."""
    share = np.maximum(marginal, 1e-300)
    return np.asarray(-(marginal * np.log2(share)).sum(axis=(1, 2)))
