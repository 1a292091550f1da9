"""Both passes, compiled: some draws or rows at a time, side by side.

A block of lanes (see `block`) stays in a core's cache through both passes. What the tables are made
of arrives as `Sources`, what to make of it as `Tables` and `Steps`. A bucket's own variable is the
slowest of its axes, so that its message is a sum of equal stretches.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sidewise.network.compiled.inputs import MESSAGE, Sources, Steps, Tables
from sidewise.network.compiled.jit import compiled
from sidewise.network.compiled.members import members
from sidewise.network.compiled.tables import factors
from sidewise.network.compiled.weights import TINY, scale_levels, weights_of


@compiled
def _product(to: Any, at: int, entries: int, pool: Any, operand: Any, map_: Any) -> None:
    """The product of `count` operands, entry by entry; few are read at once, to write seldom."""
    # Each pass over the product writes the whole table, so that three operands are read in the
    # first pass and two in each later one. One entry of a map serves all lanes.
    lanes = to.shape[1]
    count, place, base = len(operand), operand[:, 2], operand[:, 3]
    b0, b1 = base[0], base[min(1, count - 1)]
    p0, p1 = place[0], place[min(1, count - 1)]
    if count == 1:
        for entry in range(entries):
            i = b0 + map_[p0 + entry]
            for lane in range(lanes):
                to[at + entry, lane] = pool[i, lane]
    elif count == 2:
        for entry in range(entries):
            i, j = b0 + map_[p0 + entry], b1 + map_[p1 + entry]
            for lane in range(lanes):
                to[at + entry, lane] = pool[i, lane] * pool[j, lane]
    elif count > 2:
        b2, p2 = base[2], place[2]
        for entry in range(entries):
            i, j, k = b0 + map_[p0 + entry], b1 + map_[p1 + entry], b2 + map_[p2 + entry]
            for lane in range(lanes):
                to[at + entry, lane] = pool[i, lane] * pool[j, lane] * pool[k, lane]
    for more in range(3, count - 1, 2):
        b0, b1, p0, p1 = base[more], base[more + 1], place[more], place[more + 1]
        for entry in range(entries):
            i, j = b0 + map_[p0 + entry], b1 + map_[p1 + entry]
            for lane in range(lanes):
                to[at + entry, lane] *= pool[i, lane] * pool[j, lane]
    if count > 3 and count % 2 == 0:
        b0, p0 = base[count - 1], place[count - 1]
        for entry in range(entries):
            i = b0 + map_[p0 + entry]
            for lane in range(lanes):
                to[at + entry, lane] *= pool[i, lane]


@compiled
def _up(p: Steps, pool: Any, tables: Any, log: Any, signed: bool, keep: bool) -> None:
    """Each bucket's product, and its sum over the bucket's variable, scaled, to its parent."""
    lanes = tables.shape[1]
    largest = np.empty(lanes)
    for step in range(len(p.variable)):
        at, entries, length = p.table_at[step] if keep else 0, p.size[step], p.message[step]
        begin, end = p.operand_start[step], p.operand_start[step + 1]
        _product(tables, at, entries, pool, p.operand[begin:end], p.map)
        to = p.message_at[step]
        for entry in range(length):
            for lane in range(lanes):
                pool[to + entry, lane] = tables[at + entry, lane]
        for level in range(1, entries // length):
            source = at + level * length
            for entry in range(length):
                for lane in range(lanes):
                    pool[to + entry, lane] += tables[source + entry, lane]
        # A root's sum is the evidence and keeps its sign: a negative one must show as no number.
        root = p.parent[step] < 0
        for lane in range(lanes):
            largest[lane] = pool[to, lane]
        for entry in range(to, to + length):
            for lane in range(lanes):
                value = pool[entry, lane]
                value = abs(value) if signed and not root else value
                largest[lane] = max(largest[lane], value)
        if signed and not root:
            for lane in range(lanes):
                largest[lane] = abs(largest[lane])
        for lane in range(lanes):
            log[lane] += math.log(largest[lane])
            largest[lane] = 1.0 / max(largest[lane], TINY)
        for entry in range(to, to + length):
            for lane in range(lanes):
                pool[entry, lane] *= largest[lane]


@compiled
def _down(
    p: Steps, pool: Any, weights: Any, tables: Any, outer: Any, levels: int, signed: bool
) -> None:
    """The rest of the network, handed down; marginals written over `weights`.

    outer: for each message what comes down to it.
    """
    lanes, conditions, before = tables.shape[1], len(weights) // levels, p.message_at[0]
    for step in range(len(p.variable) - 1, -1, -1):
        if not p.wanted[step]:
            continue
        at, entries, length = p.table_at[step], p.size[step], p.message[step]
        if p.parent[step] >= 0:
            rest = p.message_at[step] - before
            for level in range(entries // length):
                here = at + level * length
                for entry in range(length):
                    for lane in range(lanes):
                        tables[here + entry, lane] *= outer[rest + entry, lane]
        variable = p.variable[step]
        if variable < conditions:
            _marginal(weights, variable * levels, levels, tables, at, entries, length, signed)
        for number in range(p.operand_start[step], p.operand_start[step + 1]):
            what, child, place = p.operand[number, 0], p.operand[number, 1], p.operand[number, 2]
            if what == MESSAGE and p.wanted[child]:
                rest = p.message_at[child] - before
                for entry in range(rest, rest + p.message[child]):
                    for lane in range(lanes):
                        outer[entry, lane] = 0.0
                for entry in range(entries):
                    target = rest + p.map[place + entry]
                    for lane in range(lanes):
                        outer[target, lane] += tables[at + entry, lane]
                for entry in range(rest, rest + p.message[child]):
                    for lane in range(lanes):
                        by = pool[before + entry, lane]
                        # Nothing is handed down where the message is zero.
                        toward = outer[entry, lane] / by
                        outer[entry, lane] = 0.0 if abs(by) < TINY else toward


@compiled
def _marginal(
    weights: Any, row: int, levels: int, tables: Any, at: int, entries: int, length: int,
    signed: bool,
) -> None:  # fmt: skip
    lanes = weights.shape[1]
    for level in range(entries // length):
        for lane in range(lanes):
            weights[row + level, lane] = 0.0
        for entry in range(at + level * length, at + (level + 1) * length):
            for lane in range(lanes):
                weights[row + level, lane] += tables[entry, lane]
        if signed:
            for lane in range(lanes):
                weights[row + level, lane] = max(weights[row + level, lane], 0.0)
    scale_levels(weights, row, levels, weights[row], False)


@compiled
def room(t: Tables, s: Sources, p: Steps, wanted: bool) -> Any:
    """Entries of what `sweep` works in: pool, members, one core, tables, what is handed down."""
    lengths = np.empty(5, dtype=np.int64)
    messages = p.message_at[-1] - p.message_at[0]
    lengths[0] = t.at[-1] + len(s.prior) + messages
    lengths[1], lengths[2] = t.member_at[-1], t.member_at[-1] + 1
    most = 1
    for size in p.size:
        most = max(most, size)
    lengths[3], lengths[4] = p.table_at[-1] if wanted else most, messages if wanted else 0
    return lengths


@compiled
def sweep(
    t: Tables, s: Sources, p: Steps, same: Any, levels: int, signed: bool, absolute: bool,
    begin: int, end: int, lanes: int, space: Any, marginal: Any, log_evidence: Any,
) -> None:  # fmt: skip
    """Rows `begin` to `end` of `marginal` (V, Lmax, B; empty: not wanted) and `log_evidence`.

    The batch is done in blocks of so many lanes, all of them in `space`: (entries * lanes,), what
    `room` says.
    """
    # All working room is cut from one array that is kept from call to call.
    wanted, rows = len(marginal) > 0, len(s.prior)
    tables_of = t.at[-1]
    length, begin_of = room(t, s, p, wanted), np.zeros(6, dtype=np.int64)
    for part in range(5):
        begin_of[part + 1] = begin_of[part] + length[part] * lanes
    pool = space[: begin_of[1]].reshape(length[0], lanes)
    a = space[begin_of[1] : begin_of[2]].reshape(length[1], lanes)
    core = space[begin_of[2] : begin_of[3]].reshape(length[2], lanes)
    tables = space[begin_of[3] : begin_of[4]].reshape(length[3], lanes)
    outer = space[begin_of[4] : begin_of[5]].reshape(length[4], lanes)
    weights = pool[tables_of : tables_of + rows]
    log = np.empty(lanes)
    # With one set of parameters, rows differ only in the evidence: members are made once for all.
    shared = s.leak.shape[1] == 1 and s.link.shape[1] == 1 and s.shift.shape[1] == 1
    for first in range(begin, end, lanes):
        if first == begin or not shared:
            members(t, s, a, core, same, first)
        for lane in range(lanes):
            log[lane] = 0.0
        weights_of(t, s, weights, log, levels, first)
        factors(t, s, pool, a, first, absolute)
        _up(p, pool, tables, log, signed, wanted)
        if wanted:
            _down(p, pool, weights, tables, outer, levels, signed)
        # The last block repeats its last draw to fill the lanes; the copies are not written out.
        here = min(lanes, end - first)
        log_evidence[first : first + here] = log[:here]
        if wanted:
            for row in range(rows):
                for lane in range(here):
                    marginal[row // levels, row % levels, first + lane] = weights[row, lane]
