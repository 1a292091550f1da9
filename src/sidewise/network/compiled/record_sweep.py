"""Compiled elimination of one record after another, each with its own plan, on every core."""

from __future__ import annotations

from typing import Any, NamedTuple

import numba
import numpy as np

from sidewise.network.compiled.jit import compiled, over_cores
from sidewise.network.compiled.record_order import (
    byte_sizes,
    factor_masks,
    order_of,
    size_of,
    sorted_parent,
    sorted_scope,
)
from sidewise.network.compiled.record_tables import (
    fold,
    hand_down,
    offsets,
    read_marginal,
    scale_weights,
    summed,
    times_message,
    times_pair,
    times_positive,
)

Numbers = Any  # numpy arrays inside compiled code


class Flat(NamedTuple):
    """The network: one set of parameters, flat arrays."""

    levels: Numbers  # (V,)
    prior: Numbers  # (V, Lmax); ones for paired variables
    start: Numbers  # (R + 1,) first arc of each reading
    parent: Numbers  # (arcs,)
    kept: Numbers  # (arcs, Lmax) 1 - q
    leak: Numbers  # (R,)
    pairs: Numbers  # (P, 2)
    joints: Numbers  # (P, Lmax, Lmax)


class Steps(NamedTuple):
    """One record's buckets in order of elimination; `above` is the step that gets the message."""

    order: Numbers
    rests: Numbers  # masks of the neighbours
    position: Numbers
    table_at: Numbers  # first entry of each table, message and map of places, and the end
    message_at: Numbers
    place_at: Numbers
    above: Numbers


@compiled
def _steps(network: Flat, sizes: Numbers, masks: Numbers, count: int) -> Any:
    """The plan of a record, and the entries of its largest table."""
    levels = network.levels
    order, rests = np.empty(len(levels), np.int64), np.empty(len(levels), np.int64)
    steps = order_of(masks, count, sizes, order, rests)
    order = order[:steps]
    position = np.full(len(levels), -1, np.int64)
    for s in range(steps):
        position[order[s]] = s
    at = np.zeros(steps + 1, np.int64)
    message_at = np.zeros(steps + 1, np.int64)
    place_at = np.zeros(steps + 1, np.int64)
    above = np.empty(steps, np.int64)
    widest = 1
    for s in range(steps):
        rest = size_of(rests[s], sizes)
        at[s + 1] = at[s] + rest * levels[order[s]]
        message_at[s + 1] = message_at[s] + rest
        widest = max(widest, rest * levels[order[s]])
        above[s] = sorted_parent(rests[s], position)
    for s in range(steps):
        into = above[s]
        place_at[s + 1] = place_at[s] + (at[into + 1] - at[into] if into < steps else 0)
    return Steps(order, rests, position, at, message_at, place_at, above), widest


@compiled
def _up(
    network: Flat, p: Steps, masks: Numbers, which: Numbers, count: int, marginal: Numbers,
    tables: Numbers, messages: Numbers, places: Numbers, work: Numbers,
) -> float:  # fmt: skip
    """Each bucket's product, and its sum over the bucket's variable, scaled; log of the scales.

    A factor goes into the first bucket that has one of its variables, and its mask is cleared.
    """
    log, levels = 0.0, network.levels
    for s in range(len(p.order)):
        v = p.order[s]
        scope = sorted_scope(v, p.rests[s], p.position, p.order)
        table = tables[p.table_at[s] : p.table_at[s + 1]]
        rest = p.message_at[s + 1] - p.message_at[s]
        for level in range(levels[v]):
            table[level * rest : (level + 1) * rest] = marginal[v, level]
        for f in range(count):
            if masks[f] and (masks[f] >> v) & 1:
                w = which[f]
                # Used once: the later buckets of its other variables must not meet it again.
                masks[f] = 0
                if w >= 0:
                    times_positive(
                        table, scope, levels, network.start[w], network.start[w + 1],
                        network.parent, network.kept, network.leak[w], work,
                    )  # fmt: skip
                else:
                    left, right = network.pairs[-1 - w, 0], network.pairs[-1 - w, 1]
                    times_pair(table, scope, levels, left, right, network.joints[-1 - w])
        for c in range(s):
            if p.above[c] == s:
                # Kept for the way down, which needs the same map backwards.
                place = places[p.place_at[c] : p.place_at[c + 1]]
                offsets(scope, p.rests[c], levels, place)
                times_message(table, messages[p.message_at[c] : p.message_at[c + 1]], place)
        log += summed(table, levels[v], messages[p.message_at[s] : p.message_at[s + 1]])
    return log


@compiled
def _down(
    network: Flat, p: Steps, marginal: Numbers, tables: Numbers, messages: Numbers, places: Numbers
) -> None:
    """The rest of the network, handed down; marginals written over `marginal`."""
    outer = np.ones(p.message_at[-1])
    for s in range(len(p.order) - 1, -1, -1):
        v = p.order[s]
        table = tables[p.table_at[s] : p.table_at[s + 1]]
        mine = outer[p.message_at[s] : p.message_at[s + 1]]
        for level in range(network.levels[v]):
            for j in range(len(mine)):
                table[level * len(mine) + j] *= mine[j]
        read_marginal(table, network.levels[v], marginal[v])
        for c in range(s):
            if p.above[c] == s:
                begin, end = p.message_at[c], p.message_at[c + 1]
                place = places[p.place_at[c] : p.place_at[c + 1]]
                hand_down(table, place, messages[begin:end], outer[begin:end])


@compiled
def _one_record(
    network: Flat, codes: Numbers, readings: Numbers, sizes: Numbers, largest: int,
    marginal: Numbers,
) -> float:  # fmt: skip
    """Marginals into `marginal` (V, Lmax); the log evidence, NaN if a table grows too large."""
    # The weights are scaled and read in place: the way down writes the marginals over them.
    marginal[:] = network.prior
    log = fold(codes, readings, network.start, network.parent, network.kept, network.leak, marginal)
    log += scale_weights(marginal, network.levels)
    masks = np.empty(len(codes) + len(network.pairs), np.int64)
    which = np.empty(len(codes) + len(network.pairs), np.int64)
    count = factor_masks(
        codes, readings, network.start, network.parent, network.pairs, masks, which
    )
    p, widest = _steps(network, sizes, masks, count)
    # A plan costs next to nothing; its tables are not made before it is known that they fit.
    if widest > largest:
        return np.nan
    tables, messages = np.empty(p.table_at[-1]), np.empty(p.message_at[-1])
    work, places = np.empty(widest), np.empty(p.place_at[-1], np.int32)
    log += _up(network, p, masks, which, count, marginal, tables, messages, places, work)
    _down(network, p, marginal, tables, messages, places)
    return log


@over_cores
def all_records(network: Flat, codes: Numbers, readings: Numbers, largest: int) -> Any:
    """Marginals (N, V, Lmax) and log evidence (N,) of every record, and which were too large.

    codes: (N, n) of 1 present, 0 absent, -1 not examined, of the n `readings`.
    """
    count, sizes = len(codes), byte_sizes(network.levels)
    marginal = np.zeros((count, len(network.levels), network.prior.shape[1]))
    log_evidence = np.empty(count)
    for n in numba.prange(count):
        log_evidence[n] = _one_record(network, codes[n], readings, sizes, largest, marginal[n])
    return marginal, log_evidence, np.isnan(log_evidence)
