"""A block of the batch, compiled: some draws or rows side by side, in the last axis of all tables.

One instruction of the processor then does several of them. Loops over lanes take their length from
an array: a constant would be unrolled before the compiler could make vector instructions of it.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sidewise.network.compiled.inputs import Sources
from sidewise.network.compiled.jit import compiled, inlined


@inlined
def fill(to: Any, at: int, source: Any, row: int, first: int) -> None:
    """One row of a source, for the draws of this block; the last is repeated beyond the end."""
    lanes = to.shape[1]
    width = source.shape[1]
    if width == 1:
        value = source[row, 0]
        for lane in range(lanes):
            to[at, lane] = value
    elif first + lanes <= width:
        for lane in range(lanes):
            to[at, lane] = source[row, first + lane]
    else:
        for lane in range(lanes):
            to[at, lane] = source[row, min(first + lane, width - 1)]


@inlined
def fill_kept(to: Any, at: int, source: Any, row: int, level: int, first: int) -> None:
    """1 - q of one level of a parent whose links begin at `row`; one for level 0."""
    lanes = to.shape[1]
    if level == 0:
        for lane in range(lanes):
            to[at, lane] = 1.0
    else:
        fill(to, at, source, row + level - 1, first)
        for lane in range(lanes):
            to[at, lane] = 1.0 - to[at, lane]


@compiled
def times_kept(to: Any, at: int, source: Any, arcs: Any, from_: int, to_: int, first: int) -> int:
    """Multiply what stands at `at` by 1 - q of each parent, one axis after the other.

    arcs: pairs (first row of the source, levels). Returns the number of entries.
    """
    lanes = to.shape[1]
    vector = np.empty((1, lanes))
    entries = 1
    for pair in range(from_, to_, 2):
        row, levels = arcs[pair], arcs[pair + 1]
        for level in range(levels - 1, -1, -1):
            fill_kept(vector, 0, source, row, level, first)
            for entry in range(entries - 1, -1, -1):
                # Entries of level 0 are kept for last: they are read for all the other levels.
                target = at + level * entries + entry
                for lane in range(lanes):
                    to[target, lane] = to[at + entry, lane] * vector[0, lane]
        entries *= levels
    return entries


@inlined
def fill_seen(s: Sources, column: int, first: int, seen: Any) -> None:
    """Lines 0 and 1 of `seen`: absent - present, and present; 2: absent; 3: 1 where it says."""
    lanes = seen.shape[1]
    fill(seen, 2, s.absent, column, first)
    fill(seen, 1, s.present, column, first)
    for lane in range(lanes):
        seen[0, lane] = seen[2, lane] - seen[1, lane]
        seen[3, lane] = 1.0 if seen[2, lane] != seen[1, lane] else 0.0


@inlined
def drop_sign(w: Any, at: int, absolute: bool) -> None:
    lanes = w.shape[1]
    if absolute:
        for lane in range(lanes):
            w[at, lane] = abs(w[at, lane])
