"""Expected figures of a group of people, in closed form, with and without a complaint.

For a group with level probabilities w and links q, with A the probability that the finding is
absent, B that nothing makes the side complain and AB that both hold:
    A  = (1 - leak)   prod_j sum_l w_jl (1 - q_jl)
    B  = (1 - leak_C) prod_j sum_l w_jl (1 - c_jl)
    AB = (1 - leak)(1 - leak_C) prod_j sum_l w_jl (1 - q_jl)(1 - c_jl)
    P(positive | group, complaint) = 1 - (A - AB) / (1 - B).
Noisy-OR with leak-free links (Diez, UAI 1993, 99-105); conditions independent in the group.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from sidewise.evidence.conditions import Conditions

Array = NDArray[np.float64]


def kept(links: Array, levels: Array, parts: Sequence[slice]) -> Array:
    """prod_j sum_l w_jl (1 - q_jl): (B, G) from links (B, C), levels (G, C), a slice for each j.

    The level "none" keeps everything, so each factor is 1 - sum over levels above none of w q.
    """
    total = np.ones((len(links), len(levels)))
    for part in parts:
        total *= 1.0 - links[:, part] @ levels[:, part].T
    return total


def positive_share(leak: Array, links: Array, levels: Array, parts: Sequence[slice]) -> Array:
    """P(positive | group), (B, G): leak (B,), links (B, C) in [0, 1], levels (G, C)."""
    return 1.0 - (1.0 - leak)[:, None] * kept(links, levels, parts)


def positive_share_given_complaint(
    leak: Array, links: Array, levels: Array, conditions: Conditions
) -> Array:
    """P(positive | group, the side complains), (B, G), with the region's complaint links."""
    parts = tuple(conditions.slices.values())
    complaint = np.broadcast_to(np.array(conditions.complaint_links), links.shape)
    leak_c = conditions.other_cause.leak
    quiet = (1 - leak_c) * kept(complaint, levels, parts)
    absent = (1 - leak)[:, None] * kept(links, levels, parts)
    either = 1 - (1 - links) * (1 - complaint)
    both = (1 - leak)[:, None] * (1 - leak_c) * kept(either, levels, parts)
    return np.asarray(1 - (absent - both) / (1 - quiet))


def before_selection(mix: Array, conditions: Conditions, others: Array | None = None) -> Array:
    """Level probabilities that, after conditioning on a complaint, equal `mix`; (D, C) or (C,).

    Fixed point: p <- mix (1 - B) / (1 - B_without_j (1 - c)), the level none taking the rest.
    `others` (D,) multiplies B: what the other causes of a shared complaint leave quiet.
    """
    parts = tuple(conditions.slices.values())
    complaint = np.array(conditions.complaint_links)
    target = np.atleast_2d(mix)
    quiet_leak = (1 - conditions.other_cause.leak) * (1.0 if others is None else others)
    p = target.copy()
    for _ in range(400):
        quiet = np.stack([1 - p[:, s] @ complaint[s] for s in parts], axis=1)
        whole = quiet_leak * quiet.prod(axis=1)
        new = np.empty_like(p)
        for j, s in enumerate(parts):
            without = (whole / quiet[:, j])[:, None] * (1 - complaint[s])
            none = (whole / quiet[:, j])[:, None]
            odds = target[:, s] / (1 - without)
            rest = (1 - target[:, s].sum(axis=1, keepdims=True)) / (1 - none)
            new[:, s] = odds / (odds.sum(axis=1, keepdims=True) + rest)
        if np.abs(new - p).max() < 1e-12:
            break
        p = new
    return new.reshape(np.shape(mix))
