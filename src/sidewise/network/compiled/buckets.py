"""What is multiplied where, compiled: the steps of an elimination with their maps of entries.

The first variable of every table is the fastest; a bucket's own variable is its slowest, so that
the message is a sum of equal stretches.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sidewise.network.compiled.inputs import FACTOR, MESSAGE, WEIGHT
from sidewise.network.compiled.jit import compiled


@compiled
def buckets(
    sizes: Any, scope_start: Any, scope: Any, table_at: Any, order: Any, around: Any,
    conditions: int, levels: int,
) -> Any:  # fmt: skip
    """What `Steps` holds after the order, field by field.

    table_at: first row of each factor's table in the pool; weights and messages come after it.
    """
    count = len(order)
    position = np.full(len(sizes), -1, dtype=np.int64)
    for place in range(count):
        position[order[place]] = place
    starts, spans = _spans(order, around)
    size, message, parent, wanted = _shapes(sizes, starts, spans, order, position, conditions)
    home = _homes(scope_start, scope, position)
    operand_start = _operand_starts(order, parent, home, conditions)
    entries = 0
    for place in range(count):
        entries += (operand_start[place + 1] - operand_start[place]) * size[place]
    # Half the width of a machine integer: the maps are read as often as the tables themselves.
    map_ = np.empty(entries, np.int32)
    operand = np.empty((operand_start[-1], 4), dtype=np.int64)
    message_at = _ends(message) + table_at[-1] + conditions * levels
    filled, at = operand_start[:-1].copy(), 0
    stride = np.zeros(len(sizes), dtype=np.int64)
    # Factors, messages and weights of a bucket lie in one pool, so that the loop that multiplies
    # them need not ask which is which.
    for factor in range(len(home)):
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
def _shapes(sizes: Any, starts: Any, spans: Any, order: Any, position: Any, conditions: int) -> Any:
    """Entries of each bucket and of its message, where that goes, and whether it is come back to.

    A bucket is wanted when it, or one below it, has a condition whose marginal is read.
    """
    count = len(order)
    size, message = np.empty(count, dtype=np.int64), np.empty(count, dtype=np.int64)
    parent, wanted = np.full(count, -1, dtype=np.int64), np.zeros(count, dtype=np.bool_)
    for place in range(count):
        message[place] = 1
        for i in range(starts[place], starts[place + 1] - 1):
            message[place] *= sizes[spans[i]]
        size[place] = message[place] * sizes[order[place]]
        if starts[place + 1] - starts[place] > 1:
            parent[place] = position[spans[starts[place]]]
        wanted[place] = wanted[place] or order[place] < conditions
        # Children come before parents, so that one pass carries it up.
        if wanted[place] and parent[place] >= 0:
            wanted[parent[place]] = True
    return size, message, parent, wanted


@compiled
def _homes(scope_start: Any, scope: Any, position: Any) -> Any:
    """The bucket of each factor: that of the first of its variables to go."""
    home = np.empty(len(scope_start) - 1, dtype=np.int64)
    for factor in range(len(home)):
        home[factor] = len(position)
        for i in range(scope_start[factor], scope_start[factor + 1]):
            home[factor] = min(home[factor], position[scope[i]])
    return home


@compiled
def _operand_starts(order: Any, parent: Any, home: Any, conditions: int) -> Any:
    """Number of the first operand of each bucket, and the end: factors, messages, own weight."""
    many = np.zeros(len(order), dtype=np.int64)
    for place in range(len(order)):
        many[place] += order[place] < conditions
        if parent[place] >= 0:
            many[parent[place]] += 1
    for place in home:
        many[place] += 1
    return _ends(many)


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
    which is zero for a variable that the operand does not have.
    """
    # Doubling takes one addition an entry, where taking the entry's number apart would take a
    # division a variable. `stride` is the caller's room and goes back as it came, zero.
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
