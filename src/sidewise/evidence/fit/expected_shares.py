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

from sidewise.evidence.conditions import Conditions
from sidewise.ground.arrays import Array


def probability_without(links: Array, levels: Array, parts: Sequence[slice]) -> Array:
    """prod_j sum_l w_jl (1 - q_jl): (B, G) from links (B, C), levels (G, C), a slice for each j.

    The level "none" keeps everything, so each factor is 1 - sum over levels above none of w q.
    """
    total = np.ones((len(links), len(levels)))
    for part in parts:
        total *= 1.0 - links[:, part] @ levels[:, part].T
    return total


def positive_share(leak: Array, links: Array, levels: Array, parts: Sequence[slice]) -> Array:
    """P(positive | group), (B, G): leak (B,), links (B, C) in [0, 1], levels (G, C)."""
    return 1.0 - (1.0 - leak)[:, None] * probability_without(links, levels, parts)


def positive_share_given_complaint(
    leak: Array, links: Array, levels: Array, conditions: Conditions
) -> Array:
    """P(positive | group, the side complains), (B, G), with the region's complaint links."""
    parts = tuple(conditions.slices.values())
    complaint = np.broadcast_to(np.array(conditions.complaint_links), links.shape)
    leak_c = conditions.other_cause.leak
    quiet = (1 - leak_c) * probability_without(complaint, levels, parts)
    absent = (1 - leak)[:, None] * probability_without(links, levels, parts)
    either = 1 - (1 - links) * (1 - complaint)
    both = (1 - leak)[:, None] * (1 - leak_c) * probability_without(either, levels, parts)
    return np.asarray(1 - (absent - both) / (1 - quiet))
