"""The plan of an elimination, compiled: the same greedy rule as `plan`, with the maps of entries.

The first variable of every table is the fastest; a bucket's own variable is its slowest, so that
the message is a sum of equal stretches.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sidewise.reason.engine._normal import compiled
from sidewise.reason.engine._sweep import FACTOR, MESSAGE, WEIGHT


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
    logs, cost = np.log2(sizes.astype(np.float64)), np.empty(count)
    for v in range(count):
        joined[v], near[v, v] = near[v, v], False
    for v in range(count):
        cost[v] = _cost(near, logs, v) if joined[v] else math.inf
    order, total = np.empty(joined.sum(), dtype=np.int64), 0
    neighbours = np.empty(count, dtype=np.int64)
    around = np.zeros((count, count), dtype=np.bool_)
    for place in range(len(order)):
        v = int(np.argmin(cost))
        order[place] = v
        cost[v] = math.inf
        size, found = sizes[v], 0
        for b in range(count):
            if near[v, b]:
                around[v, b] = True
                neighbours[found] = b
                found += 1
                size *= sizes[b]
        total += size
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


@compiled
def buckets(
    sizes: Any, scope_start: Any, scope: Any, table_at: Any, order: Any, around: Any,
    conditions: int, levels: int,
) -> Any:  # fmt: skip
    """What `_sweep.Steps` holds after the order, field by field.

    table_at: first row of each factor's table in the pool; weights and messages come after it.
    """
    count, factors = len(order), len(scope_start) - 1
    position = np.full(len(sizes), -1, dtype=np.int64)
    for place in range(count):
        position[order[place]] = place
    starts, spans = _spans(order, around)
    size, message = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
    parent, wanted = np.full(count, -1, dtype=np.int64), np.zeros(count, dtype=np.bool_)
    entries = 0
    home = np.empty(factors, dtype=np.int64)
    many = np.zeros(count, dtype=np.int64)
    for place in range(count):
        message[place] = 1
        for i in range(starts[place], starts[place + 1] - 1):
            message[place] *= sizes[spans[i]]
        size[place] = message[place] * sizes[order[place]]
        if starts[place + 1] - starts[place] > 1:
            parent[place] = position[spans[starts[place]]]
            many[parent[place]] += 1
        own = order[place] < conditions
        many[place] += own
        wanted[place] = wanted[place] or own
        if wanted[place] and parent[place] >= 0:
            wanted[parent[place]] = True
    for factor in range(factors):
        home[factor] = count
        for i in range(scope_start[factor], scope_start[factor + 1]):
            home[factor] = min(home[factor], position[scope[i]])
        many[home[factor]] += 1
    operand_start = np.zeros(count + 1, dtype=np.int64)
    for place in range(count):
        operand_start[place + 1] = operand_start[place] + many[place]
        entries += many[place] * size[place]
    map_ = np.empty(entries, np.int32)
    operand = np.empty((operand_start[-1], 4), dtype=np.int64)
    message_at = _ends(message) + table_at[-1] + conditions * levels
    filled, at = operand_start[:-1].copy(), 0
    stride = np.zeros(len(sizes), dtype=np.int64)
    for factor in range(factors):
        place = home[factor]
        _enter(operand, filled, place, FACTOR, factor, at, table_at[factor])
        at = _mapped(
            map_, at, sizes, spans, starts[place], starts[place + 1],
            scope, scope_start[factor], scope_start[factor + 1], stride,
        )  # fmt: skip
    for child in range(count):
        place = parent[child]
        if place >= 0:
            _enter(operand, filled, place, MESSAGE, child, at, message_at[child])
            at = _mapped(
                map_, at, sizes, spans, starts[place], starts[place + 1],
                spans, starts[child], starts[child + 1] - 1, stride,
            )  # fmt: skip
    for place in range(count):
        variable = order[place]
        if variable < conditions:
            _enter(operand, filled, place, WEIGHT, variable, at, table_at[-1] + variable * levels)
            at = _mapped(
                map_, at, sizes, spans, starts[place], starts[place + 1],
                order, place, place + 1, stride,
            )  # fmt: skip
    return (
        size, message, _ends(size), message_at, operand_start, operand, map_, parent, wanted,
    )  # fmt: skip


@compiled
def _spans(order: Any, around: Any) -> Any:
    """Scope of each bucket: its neighbours in order of elimination, then its own variable."""
    count = len(order)
    starts = np.zeros(count + 1, dtype=np.int64)
    for place in range(count):
        starts[place + 1] = starts[place] + around[order[place]].sum() + 1
    spans = np.empty(starts[-1], dtype=np.int64)
    for place in range(count):
        at = starts[place]
        for later in range(place + 1, count):
            if around[order[place], order[later]]:
                spans[at] = order[later]
                at += 1
        spans[at] = order[place]
    return starts, spans


@compiled
def _ends(sizes: Any) -> Any:
    ends = np.zeros(len(sizes) + 1, dtype=np.int64)
    for place in range(len(sizes)):
        ends[place + 1] = ends[place] + sizes[place]
    return ends


@compiled
def _enter(
    operand: Any, filled: Any, place: int, what: int, number: int, at: int, row: int
) -> None:
    line = operand[filled[place]]
    line[0], line[1], line[2], line[3] = what, number, at, row
    filled[place] += 1


@compiled
def _mapped(
    map_: Any, at: int, sizes: Any, spans: Any, first: int, last: int, scope: Any, begin: int,
    end: int, stride: Any,
) -> int:  # fmt: skip
    """For each entry of the bucket the entry of the operand; where the next map begins.

    Each variable of the bucket in turn repeats what is there, moved by its stride in the operand,
    which is nought for a variable that the operand does not have.
    """
    step = 1
    for i in range(begin, end):
        stride[scope[i]] = step
        step *= sizes[scope[i]]
    map_[at] = 0
    done = 1
    for i in range(first, last):
        v = spans[i]
        for level in range(1, sizes[v]):
            for entry in range(done):
                map_[at + level * done + entry] = map_[at + entry] + level * stride[v]
        done *= sizes[v]
    for i in range(begin, end):
        stride[scope[i]] = 0
    return at + done
