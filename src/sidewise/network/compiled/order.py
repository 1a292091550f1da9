"""In which order to sum variables out, compiled: the same greedy rule as in `plain`."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sidewise.network.compiled.jit import compiled


@compiled
def greedy(sizes: Any, scope_start: Any, scope: Any) -> Any:
    """(order, around, entries): variables in order, (n, n) neighbours of each when it went."""
    count = len(sizes)
    near = np.zeros((count, count), dtype=np.bool_)
    for factor in range(len(scope_start) - 1):
        for i in range(scope_start[factor], scope_start[factor + 1]):
            for j in range(scope_start[factor], scope_start[factor + 1]):
                near[scope[i], scope[j]] = True
    joined = np.zeros(count, dtype=np.bool_)
    # Logs and floats: products of sizes can exceed an integer before a plan is found too large.
    logs, cost = np.log2(sizes.astype(np.float64)), np.empty(count)
    for v in range(count):
        joined[v], near[v, v] = near[v, v], False
    for v in range(count):
        cost[v] = _cost(near, logs, v) if joined[v] else math.inf
    # A variable's cost changes only when a neighbour goes; all others keep theirs.
    order, total = np.empty(joined.sum(), dtype=np.int64), 0.0
    neighbours = np.empty(count, dtype=np.int64)
    around = np.zeros((count, count), dtype=np.bool_)
    for place in range(len(order)):
        v = int(np.argmin(cost))
        order[place] = v
        cost[v] = math.inf
        size, found = float(sizes[v]), 0
        for b in range(count):
            if near[v, b]:
                around[v, b] = True
                neighbours[found] = b
                found += 1
                size *= sizes[b]
        total += size
        # The message joins all neighbours with one another: that is the fill-in of this step.
        for i in range(found):
            b = neighbours[i]
            for j in range(found):
                near[b, neighbours[j]] = True
            near[b, v] = near[b, b] = False
        for i in range(found):
            cost[neighbours[i]] = _cost(near, logs, neighbours[i])
    return order, around, total


@compiled
def _cost(near: Any, logs: Any, v: int) -> float:
    total = 0.0
    for b in range(len(logs)):
        if near[v, b]:
            total += logs[b]
    return total
