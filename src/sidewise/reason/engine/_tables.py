"""Tables of factors and weights of levels, compiled: for some draws or rows side by side.

Every table has a last axis of lanes, each a draw or a row, so that one instruction of the processor
does several of them. The first variable of a table's scope is the fastest of its other axes.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np

from sidewise.reason.engine._normal import compiled, inlined, lower_tail, quantile

TINY = 1e-300
# Kinds of factors; `lower` says what the parameters of each are.
GIVEN, COMPLAINT_SWITCH, IF_ON, COMPLAINT_IF_ON, LONE_SWITCH, LONE = range(6)
MEMBER, MEMBER_SWITCHED, MEMBER_OR_OTHER, OTHER_CAUSES, GATHERED = range(6, 11)


class Sources(NamedTuple):
    """Numbers from which tables are made: (items, D or 1), the batch last."""

    prior: Any  # (V * Lmax, D)
    link: Any  # (columns of `Parameters.link`, D)
    complaint_link: Any
    leak: Any
    complaint_leak: Any
    absent: Any  # (columns, rows)
    present: Any
    given: Any
    shift: Any  # (quadratures * K, D)
    scale: Any  # (quadratures, D)


class Tables(NamedTuple):
    """Factors, members of families and foldings, as integers."""

    sizes: Any  # of every variable
    paired: Any  # whether a condition's prior is in a pair's table
    kind: Any
    start: Any  # first parameter of each factor, and the end
    parameter: Any
    at: Any  # first entry of each factor's table, and the end
    member_start: Any
    member: Any  # parameters of each member: reading, column, quadrature, then arcs and levels
    member_at: Any  # first entry of each member's table of P(absent), and the end
    fold: Any  # (n, 4): column, variable, first link, levels
    folded: Any  # (n, 2): column, reading
    single: Any  # (n, 5): column, reading, variable or -1, first link, levels


@inlined
def _fill(to: Any, at: int, source: Any, row: int, first: int) -> None:
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
def _fill_kept(to: Any, at: int, source: Any, row: int, level: int, first: int) -> None:
    """1 - q of one level of a parent whose links begin at `row`; one for level 0."""
    lanes = to.shape[1]
    if level == 0:
        for lane in range(lanes):
            to[at, lane] = 1.0
    else:
        _fill(to, at, source, row + level - 1, first)
        for lane in range(lanes):
            to[at, lane] = 1.0 - to[at, lane]


@compiled
def _outer(to: Any, at: int, source: Any, arcs: Any, from_: int, to_: int, first: int) -> int:
    """Multiply what stands at `at` by 1 - q of each parent, one axis after the other.

    arcs: pairs (first row of the source, levels). Returns the number of entries.
    """
    lanes = to.shape[1]
    vector = np.empty((1, lanes))
    entries = 1
    for pair in range(from_, to_, 2):
        row, levels = arcs[pair], arcs[pair + 1]
        for level in range(levels - 1, -1, -1):
            _fill_kept(vector, 0, source, row, level, first)
            for entry in range(entries - 1, -1, -1):
                # Entries of level 0 are kept for last: they are read for all the other levels.
                target = at + level * entries + entry
                for lane in range(lanes):
                    to[target, lane] = to[at + entry, lane] * vector[0, lane]
        entries *= levels
    return entries


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
        if same[member] >= 0:
            source = t.member_at[same[member]]
            for entry in range(stop - at):
                for lane in range(lanes):
                    a[at + entry, lane] = a[source + entry, lane]
            continue
        _fill(line, 0, s.leak, reading, first)
        _fill(line, 1, s.scale, quadrature, first)
        for lane in range(lanes):
            core[0, lane] = 1.0 - line[0, lane]
        entries = _outer(core, 0, s.link, t.member, begin + 3, end, first)
        for entry in range(entries):
            for lane in range(lanes):
                core[entry, lane] = -quantile(1.0 - core[entry, lane]) / line[1, lane]
        for node in range(nodes):
            _fill(line, 2, s.shift, quadrature * nodes + node, first)
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
    same = True
    for draw in range(source.shape[1]):
        same &= source[one, draw] == source[two, draw]
    return same


@inlined
def _seen(s: Sources, column: int, first: int, seen: Any) -> None:
    """Lines 0 and 1 of `seen`: absent - present, and present; 2: absent; 3: 1 where it says."""
    lanes = seen.shape[1]
    _fill(seen, 2, s.absent, column, first)
    _fill(seen, 1, s.present, column, first)
    for lane in range(lanes):
        seen[0, lane] = seen[2, lane] - seen[1, lane]
        seen[3, lane] = 1.0 if seen[2, lane] != seen[1, lane] else 0.0


@compiled
def factors(t: Tables, s: Sources, w: Any, a: Any, first: int, absolute: bool) -> None:
    """Every factor's table; the first variable of its scope is the fastest."""
    lanes = w.shape[1]
    seen = np.empty((5, lanes))
    for factor in range(len(t.kind)):
        kind, at, p = t.kind[factor], t.at[factor], t.start[factor]
        entries, end = t.at[factor + 1] - at, t.start[factor + 1]
        if kind == GIVEN:
            for entry in range(entries):
                _fill(w, at + entry, s.given, t.parameter[p] + entry, first)
        elif kind == COMPLAINT_SWITCH:
            _fill(w, at + 1, s.complaint_leak, t.parameter[p], first)
            for lane in range(lanes):
                w[at, lane] = 1.0
                w[at + 1, lane] -= 1.0
            _unsigned(w, at + 1, absolute)
        elif kind in (IF_ON, COMPLAINT_IF_ON):
            source = s.link if kind == IF_ON else s.complaint_link
            for level in range(entries // 2):
                for lane in range(lanes):
                    w[at + 2 * level, lane] = 1.0
                _fill_kept(w, at + 2 * level + 1, source, t.parameter[p], level, first)
        elif kind == LONE_SWITCH:
            _seen(s, t.parameter[p + 1], first, seen)
            _fill(seen, 4, s.leak, t.parameter[p], first)
            for lane in range(lanes):
                w[at, lane] = seen[1, lane]
                w[at + 1, lane] = seen[0, lane] * (1.0 - seen[4, lane])
            _unsigned(w, at + 1, absolute)
        elif kind == LONE:
            _seen(s, t.parameter[p + 1], first, seen)
            _fill(w, at, s.leak, t.parameter[p], first)
            for lane in range(lanes):
                w[at, lane] = 1.0 - w[at, lane]
            _outer(w, at, s.link, t.parameter, p + 2, end, first)
            for entry in range(at, at + entries):
                for lane in range(lanes):
                    w[entry, lane] = seen[1, lane] + seen[0, lane] * w[entry, lane]
        elif kind == OTHER_CAUSES:
            _other_causes(t, s, w, at, p, end, entries, first)
        elif kind == GATHERED:
            _gathered(t, s, w, a, at, p, end, entries, first, seen)
        else:
            _one_member(t, s, w, a, at, kind, t.parameter[p], first, seen, absolute)


@inlined
def _unsigned(w: Any, at: int, absolute: bool) -> None:
    lanes = w.shape[1]
    if absolute:
        for lane in range(lanes):
            w[at, lane] = abs(w[at, lane])


@compiled
def _other_causes(
    t: Tables, s: Sources, w: Any, at: int, p: int, end: int, entries: int, first: int
) -> None:
    lanes = w.shape[1]
    half = entries // 2
    for lane in range(lanes):
        w[at, lane] = 1.0
    _outer(w, at, s.link, t.parameter, p, end, first)
    for entry in range(half - 1, -1, -1):
        for lane in range(lanes):
            spared = w[at + entry, lane]
            w[at + 2 * entry, lane] = spared
            w[at + 2 * entry + 1, lane] = 1.0 - spared


@compiled
def _gathered(
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
        _seen(s, t.member[t.member_start[member] + 1], first, seen)
        for lane in range(lanes):
            seen[0, lane] = seen[3, lane] * seen[2, lane]
            seen[1, lane] = 1.0 - seen[3, lane]
        source = t.member_at[member]
        for entry in range(entries):
            for lane in range(lanes):
                w[at + entry, lane] *= seen[1, lane] + seen[0, lane] * a[source + entry, lane]


@compiled
def _one_member(
    t: Tables, s: Sources, w: Any, a: Any, at: int, kind: int, member: int, first: int, seen: Any,
    absolute: bool,
) -> None:  # fmt: skip
    lanes = w.shape[1]
    _seen(s, t.member[t.member_start[member] + 1], first, seen)
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


@compiled
def weights_of(t: Tables, s: Sources, weights: Any, log: Any, levels: int, first: int) -> None:
    """Levels of each condition: prior times all that folds, scaled to a sum of one."""
    lanes = weights.shape[1]
    seen, line = np.empty((5, lanes)), np.empty((1, lanes))
    conditions = len(weights) // levels
    for row in range(len(weights)):
        if t.paired[row // levels]:
            inside = 1.0 if row % levels < t.sizes[row // levels] else 0.0
            for lane in range(lanes):
                weights[row, lane] = inside
        else:
            _fill(weights, row, s.prior, row, first)
    before = -1
    for fold in range(len(t.fold)):
        column, variable, arc = t.fold[fold, 0], t.fold[fold, 1], t.fold[fold, 2]
        if column != before:
            _seen(s, column, first, seen)
            before = column
        for level in range(1, t.fold[fold, 3]):
            _fill_kept(line, 0, s.link, arc, level, first)
            row = variable * levels + level
            for lane in range(lanes):
                weights[row, lane] *= (1.0 - seen[3, lane]) + seen[3, lane] * line[0, lane]
    for fold in range(len(t.folded)):
        _seen(s, t.folded[fold, 0], first, seen)
        _fill(line, 0, s.leak, t.folded[fold, 1], first)
        for row in range(levels):
            for lane in range(lanes):
                weights[row, lane] *= seen[2, lane] * (1.0 - seen[3, lane] * line[0, lane])
    for fold in range(len(t.single)):
        _seen(s, t.single[fold, 0], first, seen)
        _fill(seen, 4, s.leak, t.single[fold, 1], first)
        variable = t.single[fold, 2]
        count = t.single[fold, 4] if variable >= 0 else levels
        for level in range(count):
            depth = level if variable >= 0 else 0
            _fill_kept(line, 0, s.link, t.single[fold, 3], depth, first)
            row = max(variable, 0) * levels + level
            for lane in range(lanes):
                quiet = (1.0 - seen[4, lane]) * line[0, lane]
                weights[row, lane] *= seen[1, lane] + seen[0, lane] * quiet
    for variable in range(conditions):
        scale_levels(weights, variable * levels, levels, log, True)


@compiled
def scale_levels(weights: Any, at: int, levels: int, log: Any, count: bool) -> None:
    lanes = weights.shape[1]
    for lane in range(lanes):
        total = 0.0
        for level in range(at, at + levels):
            total += weights[level, lane]
        if count:
            log[lane] += math.log(total)
        total = max(total, TINY)
        for level in range(at, at + levels):
            weights[level, lane] /= total
