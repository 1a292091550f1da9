"""Compiled records: which findings join variables, and in which order to sum these out.

Scopes are 64-bit masks, so that joining and testing neighbours is one instruction.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sidewise.network.compiled.jit import compiled, inlined

Numbers = Any  # numpy arrays inside compiled code


@compiled
def byte_sizes(levels: Numbers) -> Numbers:
    """(bytes, 256) product of the levels of each eight variables, for every choice of them."""
    sizes = np.ones(((len(levels) + 7) // 8, 256), np.int64)
    for v in range(len(levels)):
        for choice in range(256):
            if (choice >> (v % 8)) & 1:
                sizes[v // 8, choice] *= levels[v]
    return sizes


@inlined
def size_of(mask: int, sizes: Numbers) -> int:
    """Product of the levels of the variables in a mask; sizes: `byte_sizes`."""
    # Asked for every neighbour of every variable that goes, so by table: eight variables a look-up
    # where a loop over bits would test each.
    size = 1
    for byte in range(len(sizes)):
        size *= sizes[byte, (mask >> (8 * byte)) & 255]
    return size


@compiled
def factor_masks(
    codes: Numbers,
    readings: Numbers,
    start: Numbers,
    parent: Numbers,
    pairs: Numbers,
    masks: Numbers,
    which: Numbers,
) -> int:
    """Masks of what joins variables: pairs (which = -1 - pair) and positives (which = reading)."""
    n = 0
    for p in range(len(pairs)):
        masks[n] = (np.int64(1) << pairs[p, 0]) | (np.int64(1) << pairs[p, 1])
        which[n] = -1 - p
        n += 1
    for i in range(len(codes)):
        r = readings[i]
        # Absent findings, and those of one parent, fold into weights and join nothing.
        if codes[i] == 1 and start[r + 1] - start[r] > 1:
            mask = np.int64(0)
            for a in range(start[r], start[r + 1]):
                mask |= np.int64(1) << parent[a]
            masks[n] = mask
            which[n] = r
            n += 1
    return n


@compiled
def order_of(masks: Numbers, count: int, sizes: Numbers, order: Numbers, scopes: Numbers) -> int:
    """Greedy order: next the variable that leaves the smallest table; its clique's mask."""
    variables = len(scopes)
    around = np.zeros(variables, np.int64)
    for f in range(count):
        for v in range(variables):
            if (masks[f] >> v) & 1:
                around[v] |= masks[f]
    cost = np.empty(variables, np.int64)
    left = np.int64(0)
    for v in range(variables):
        if around[v]:
            left |= np.int64(1) << v
            around[v] &= ~(np.int64(1) << v)
            cost[v] = size_of(around[v], sizes)
    n = 0
    while left:
        best, least = -1, np.int64(1) << 62
        for v in range(variables):
            if (left >> v) & 1 and cost[v] < least:
                best, least = v, cost[v]
        # The neighbours of the one that goes are joined with one another by its message.
        own = np.int64(1) << best
        left &= ~own
        order[n] = best
        scopes[n] = around[best]
        n += 1
        for b in range(variables):
            if (around[best] >> b) & 1:
                around[b] = (around[b] | around[best]) & ~own & ~(np.int64(1) << b)
                cost[b] = size_of(around[b], sizes)
    return n


@compiled
def sorted_scope(own: int, mask: int, position: Numbers, order: Numbers) -> Numbers:
    """The variable, then its neighbours in order of elimination."""
    scope = np.empty(64, np.int64)
    scope[0] = own
    n = 1
    for p in range(position[own] + 1, len(order)):
        if (mask >> order[p]) & 1:
            scope[n] = order[p]
            n += 1
    return scope[:n]


@inlined
def sorted_parent(mask: int, position: Numbers) -> int:
    """Step of the neighbour that is eliminated first; above all steps if there is none."""
    first = len(position)
    for v in range(len(position)):
        if (mask >> v) & 1 and position[v] < first:
            first = position[v]
    return first
