"""Tables of the readings of a family, compiled: P(absent) at each node, nodes fastest."""

from __future__ import annotations

from typing import Any

import numpy as np

from sidewise.network.compiled.block import fill, fill_seen, times_kept
from sidewise.network.compiled.inputs import MEMBER, MEMBER_OR_OTHER, Sources, Tables
from sidewise.network.compiled.jit import compiled, inlined
from sidewise.network.compiled.normal import lower_tail, quantile


@compiled
def members(t: Tables, s: Sources, a: Any, core: Any, same: Any, first: int) -> None:
    """P(absent) of each member of a family at each node and level of its core, nodes fastest."""
    lanes = a.shape[1]
    nodes = s.shift.shape[0] // max(s.scale.shape[0], 1)
    line = np.empty((3, lanes))
    for member in range(len(t.member_at) - 1):
        begin, end = t.member_start[member], t.member_start[member + 1]
        reading, quadrature = t.member[begin], t.member[begin + 2]
        at, stop = t.member_at[member], t.member_at[member + 1]
        # Both sides of the body have the same links, and copying spares Phi at every node.
        if same[member] >= 0:
            source = t.member_at[same[member]]
            for entry in range(stop - at):
                for lane in range(lanes):
                    a[at + entry, lane] = a[source + entry, lane]
            continue
        fill(line, 0, s.leak, reading, first)
        fill(line, 1, s.scale, quadrature, first)
        for lane in range(lanes):
            core[0, lane] = 1.0 - line[0, lane]
        entries = times_kept(core, 0, s.link, t.member, begin + 3, end, first)
        # The quantile has branches; Phi, wanted at fifteen times as many places, has none. So the
        # threshold is worked out once for all nodes, and the loop below can become vector code.
        for entry in range(entries):
            for lane in range(lanes):
                core[entry, lane] = -quantile(1.0 - core[entry, lane]) / line[1, lane]
        for node in range(nodes):
            fill(line, 2, s.shift, quadrature * nodes + node, first)
            for entry in range(entries):
                target = at + entry * nodes + node
                for lane in range(lanes):
                    a[target, lane] = lower_tail(core[entry, lane] - line[2, lane])


@compiled
def alike(t: Tables, s: Sources) -> Any:
    """For each member an earlier one with the same table: the same sign on the other side."""
    count = len(t.member_at) - 1
    same = np.full(count, -1, dtype=np.int64)
    for member in range(count):
        for other in range(member):
            if same[other] < 0 and _equal(t, s, member, other):
                same[member] = other
                break
    return same


@compiled
def _equal(t: Tables, s: Sources, one: int, two: int) -> bool:
    a, b = t.member_start[one], t.member_start[two]
    length = t.member_start[one + 1] - a
    if length != t.member_start[two + 1] - b or t.member[a + 2] != t.member[b + 2]:
        return False
    if not _same_row(s.leak, t.member[a], t.member[b]):
        return False
    for place in range(3, length, 2):
        levels = t.member[a + place + 1]
        if levels != t.member[b + place + 1]:
            return False
        for level in range(levels - 1):
            if not _same_row(s.link, t.member[a + place] + level, t.member[b + place] + level):
                return False
    return True


@inlined
def _same_row(source: Any, one: int, two: int) -> bool:
    # No early end: the loop then compares several draws at a time.
    same = True
    for draw in range(source.shape[1]):
        same &= source[one, draw] == source[two, draw]
    return same


@compiled
def gathered(
    t: Tables, s: Sources, w: Any, a: Any, at: int, p: int, end: int, entries: int, first: int,
    seen: Any,
) -> None:  # fmt: skip
    """Members absent or silent in every row: 1 in the rows where one says nothing."""
    lanes = w.shape[1]
    for entry in range(at, at + entries):
        for lane in range(lanes):
            w[entry, lane] = 1.0
    for place in range(p, end):
        member = t.parameter[place]
        fill_seen(s, t.member[t.member_start[member] + 1], first, seen)
        for lane in range(lanes):
            seen[0, lane] = seen[3, lane] * seen[2, lane]
            seen[1, lane] = 1.0 - seen[3, lane]
        source = t.member_at[member]
        for entry in range(entries):
            for lane in range(lanes):
                w[at + entry, lane] *= seen[1, lane] + seen[0, lane] * a[source + entry, lane]


@compiled
def one_member(
    t: Tables, s: Sources, w: Any, a: Any, at: int, kind: int, member: int, first: int, seen: Any,
    absolute: bool,
) -> None:  # fmt: skip
    lanes = w.shape[1]
    fill_seen(s, t.member[t.member_start[member] + 1], first, seen)
    source, entries = t.member_at[member], t.member_at[member + 1] - t.member_at[member]
    if kind == MEMBER:
        for entry in range(entries):
            for lane in range(lanes):
                w[at + entry, lane] = seen[1, lane] + seen[0, lane] * a[source + entry, lane]
        return
    # Two halves, the switch or helper fastest.
    for entry in range(entries):
        here = at + 2 * entry
        for lane in range(lanes):
            present = seen[1, lane]
            found = present + seen[0, lane] * a[source + entry, lane]
            if kind == MEMBER_OR_OTHER:
                w[here, lane] = found
                w[here + 1, lane] = present
            else:
                w[here, lane] = present
                change = found - present
                w[here + 1, lane] = abs(change) if absolute else change
