"""In which order to sum variables out, so that the tables stay small.

Finding the best order is NP-hard (Arnborg, Corneil and Proskurowski 1987); the usual greedy rule is
used, in the form that fits tables of unequal sizes: next the variable that leaves the smallest
table behind (after Kjaerulff 1990, "minimum weight", but without counting the variable itself: a
quadrature node of 15 levels that goes first costs its clique once, one that stays costs it again
and again). Measured on
two-sided networks with families: 1.4 to 2.8 times fewer table entries. Scopes are bit masks, so
that one step costs a handful of integer operations.
"""

from __future__ import annotations

import math
from collections.abc import Sequence


def greedy(sizes: Sequence[int], masks: Sequence[int]) -> tuple[list[int], list[int]]:
    """Order of elimination, and each variable's neighbours at the time it went."""
    # Only neighbours of the one that goes change their cost, so that a step takes a few sums.
    logs = [math.log2(size) for size in sizes]
    around = [0] * len(sizes)
    for mask in masks:
        for variable in bits_of(mask):
            around[variable] |= mask
    around = [mask & ~(1 << v) for v, mask in enumerate(around)]
    cost = {v: sum([logs[b] for b in bits_of(m)]) for v, m in enumerate(around)}
    order, gone = [], [0] * len(sizes)
    while cost:
        v = min(cost, key=cost.__getitem__)
        del cost[v]
        order.append(v)
        mask = gone[v] = around[v]
        own = ~(1 << v)
        for b in bits_of(mask):
            around[b] = (around[b] | mask) & own & ~(1 << b)
        for b in bits_of(mask):
            cost[b] = sum([logs[n] for n in bits_of(around[b])])
    return order, gone


def mask_of(scope: Sequence[int]) -> int:
    mask = 0
    for variable in scope:
        mask |= 1 << variable
    return mask


def bits_of(mask: int) -> list[int]:
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found
