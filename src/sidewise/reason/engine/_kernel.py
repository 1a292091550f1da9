"""Compiled elimination of one record after another; see `compiled`. Imports numba.

Scopes are 64-bit masks. A bucket's table has its own variable as the slowest axis and its
neighbours after it in order of elimination, so that summing out and handing down are loops over
contiguous numbers. Tables of factors and offsets of messages are built by doubling: one axis at a
time, each level a multiple (or a shift) of what stands already.
"""

from __future__ import annotations

from typing import Any

import numba
import numpy as np

Numbers = Any  # numpy arrays inside compiled code

_TINY = 1e-300
SMALL = 1e-100  # a product so small has its log taken, before it underflows


def _byte_sizes(levels: Numbers) -> Numbers:
    """(bytes, 256) product of the levels of each eight variables, for every choice of them."""
    sizes = np.ones(((len(levels) + 7) // 8, 256), np.int64)
    for v in range(len(levels)):
        for choice in range(256):
            if (choice >> (v % 8)) & 1:
                sizes[v // 8, choice] *= levels[v]
    return sizes


byte_sizes = numba.njit(cache=True)(_byte_sizes)


def _size_of(mask: int, sizes: Numbers) -> int:
    size = 1
    for byte in range(len(sizes)):
        size *= sizes[byte, (mask >> (8 * byte)) & 255]
    return size


size_of = numba.njit(cache=True, inline="always")(_size_of)


def _factor_masks(
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
        if codes[i] == 1 and start[r + 1] - start[r] > 1:
            mask = np.int64(0)
            for a in range(start[r], start[r + 1]):
                mask |= np.int64(1) << parent[a]
            masks[n] = mask
            which[n] = r
            n += 1
    return n


factor_masks = numba.njit(cache=True)(_factor_masks)


def _fold(
    codes: Numbers,
    readings: Numbers,
    start: Numbers,
    parent: Numbers,
    kept: Numbers,
    leak: Numbers,
    weights: Numbers,
) -> float:
    """Fold absent findings and those of at most one parent into the weights; log of the rest."""
    log, quiet = 0.0, 1.0
    for i in range(len(codes)):
        r, first, stop = readings[i], start[readings[i]], start[readings[i] + 1]
        if codes[i] == 0:
            quiet *= 1.0 - leak[r]
            if quiet < SMALL:
                log += np.log(quiet)
                quiet = 1.0
            for a in range(first, stop):
                for level in range(1, weights.shape[1]):
                    weights[parent[a], level] *= kept[a, level]
        elif codes[i] == 1 and stop == first:
            log += np.log(leak[r])
        elif codes[i] == 1 and stop - first == 1:
            for level in range(weights.shape[1]):
                weights[parent[first], level] *= 1.0 - (1.0 - leak[r]) * kept[first, level]
    return float(log + np.log(quiet))


fold = numba.njit(cache=True)(_fold)


def _scale_weights(weights: Numbers, levels: Numbers) -> float:
    log, product = 0.0, 1.0
    for v in range(len(levels)):
        total = 0.0
        for level in range(levels[v]):
            total += weights[v, level]
        product *= total
        if product < SMALL:
            log += np.log(product)
            product = 1.0
        scale = 1.0 / max(total, _TINY)
        for level in range(levels[v]):
            weights[v, level] *= scale
    return float(log + np.log(product))


scale_weights = numba.njit(cache=True)(_scale_weights)


def _order(masks: Numbers, count: int, sizes: Numbers, order: Numbers, scopes: Numbers) -> int:
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


order_of = numba.njit(cache=True)(_order)


def _sorted_scope(own: int, mask: int, position: Numbers, order: Numbers) -> Numbers:
    """The variable, then its neighbours in order of elimination."""
    scope = np.empty(64, np.int64)
    scope[0] = own
    n = 1
    for p in range(position[own] + 1, len(order)):
        if (mask >> order[p]) & 1:
            scope[n] = order[p]
            n += 1
    return scope[:n]


sorted_scope = numba.njit(cache=True)(_sorted_scope)


def _offsets(scope: Numbers, mask: int, levels: Numbers, out: Numbers) -> None:
    """Where each entry of a clique's table lies in a table over the part `mask` of its scope."""
    out[0] = 0
    done, stride = 1, 1
    for axis in range(len(scope) - 1, -1, -1):
        v = scope[axis]
        inside = (mask >> v) & 1
        for level in range(1, levels[v]):
            shift = level * stride * inside
            for j in range(done):
                out[level * done + j] = out[j] + shift
        done *= levels[v]
        if inside:
            stride *= levels[v]


offsets = numba.njit(cache=True)(_offsets)


def _times_positive(
    table: Numbers,
    scope: Numbers,
    levels: Numbers,
    first: int,
    stop: int,
    parent: Numbers,
    kept: Numbers,
    leak: float,
    work: Numbers,
) -> None:
    """table *= 1 - (1 - leak) * product of kept, over the clique."""
    work[0] = 1.0 - leak
    done = 1
    for axis in range(len(scope) - 1, -1, -1):
        v = scope[axis]
        arc = -1
        for a in range(first, stop):
            if parent[a] == v:
                arc = a
        for level in range(1, levels[v]):
            q = kept[arc, level] if arc >= 0 else 1.0
            for j in range(done):
                work[level * done + j] = work[j] * q
        done *= levels[v]
    for j in range(done):
        table[j] *= 1.0 - work[j]


times_positive = numba.njit(cache=True)(_times_positive)


def _times_pair(
    table: Numbers, scope: Numbers, levels: Numbers, left: int, right: int, joint: Numbers
) -> None:
    rest = len(table)
    strides = np.ones(2, np.int64)
    for axis in range(len(scope)):
        rest //= levels[scope[axis]]
        if scope[axis] == left:
            strides[0] = rest
        if scope[axis] == right:
            strides[1] = rest
    for j in range(len(table)):
        a = (j // strides[0]) % levels[left]
        b = (j // strides[1]) % levels[right]
        table[j] *= joint[a, b]


times_pair = numba.njit(cache=True)(_times_pair)


def _times_message(table: Numbers, message: Numbers, place: Numbers) -> None:
    for j in range(len(table)):
        table[j] *= message[place[j]]


times_message = numba.njit(cache=True)(_times_message)


def _summed(table: Numbers, own_levels: int, message: Numbers) -> float:
    """Sum out the first axis, scale by the largest entry; its log."""
    rest = len(message)
    largest = 0.0
    for j in range(rest):
        message[j] = table[j]
    for level in range(1, own_levels):
        for j in range(rest):
            message[j] += table[level * rest + j]
    for j in range(rest):
        largest = max(largest, message[j])
    scale = 1.0 / max(largest, _TINY)
    for j in range(rest):
        message[j] *= scale
    return float(np.log(largest))


summed = numba.njit(cache=True)(_summed)


def _hand_down(table: Numbers, place: Numbers, message: Numbers, out: Numbers) -> None:
    """What the rest of the network says to a child: belief summed over the rest, over its own."""
    for j in range(len(out)):
        out[j] = 0.0
    for j in range(len(table)):
        out[place[j]] += table[j]
    for j in range(len(out)):
        out[j] /= max(message[j], _TINY)


hand_down = numba.njit(cache=True)(_hand_down)


def _read_marginal(table: Numbers, own_levels: int, out: Numbers) -> None:
    rest = len(table) // own_levels
    total = 0.0
    for level in range(own_levels):
        part = 0.0
        for j in range(rest):
            part += table[level * rest + j]
        out[level] = part
        total += part
    scale = 1.0 / max(total, _TINY)
    for level in range(own_levels):
        out[level] *= scale


read_marginal = numba.njit(cache=True)(_read_marginal)


def _one_record(
    codes: Numbers,
    readings: Numbers,
    levels: Numbers,
    sizes: Numbers,
    prior: Numbers,
    start: Numbers,
    parent: Numbers,
    kept: Numbers,
    leak: Numbers,
    pairs: Numbers,
    joints: Numbers,
    largest: int,
    marginal: Numbers,
) -> float:
    """Marginals into `marginal` (V, Lmax); the log evidence, NaN if a table grows too large."""
    variables = len(levels)
    marginal[:] = prior
    log = fold(codes, readings, start, parent, kept, leak, marginal)
    log += scale_weights(marginal, levels)
    masks = np.empty(len(codes) + len(pairs), np.int64)
    which = np.empty(len(codes) + len(pairs), np.int64)
    count = factor_masks(codes, readings, start, parent, pairs, masks, which)
    order, rests = np.empty(variables, np.int64), np.empty(variables, np.int64)
    steps = order_of(masks, count, sizes, order, rests)
    order = order[:steps]
    position = np.full(variables, -1, np.int64)
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
    if widest > largest:
        return np.nan
    for s in range(steps):
        into = above[s]
        place_at[s + 1] = place_at[s] + (at[into + 1] - at[into] if into < steps else 0)
    tables, messages = np.empty(at[steps]), np.empty(message_at[steps])
    work, places = np.empty(widest), np.empty(place_at[steps], np.int32)
    for s in range(steps):
        v = order[s]
        scope = sorted_scope(v, rests[s], position, order)
        table = tables[at[s] : at[s + 1]]
        rest = message_at[s + 1] - message_at[s]
        for level in range(levels[v]):
            table[level * rest : (level + 1) * rest] = marginal[v, level]
        for f in range(count):
            if masks[f] and (masks[f] >> v) & 1:
                w = which[f]
                masks[f] = 0
                if w >= 0:
                    times_positive(
                        table, scope, levels, start[w], start[w + 1], parent, kept, leak[w], work
                    )
                else:
                    left, right = pairs[-1 - w, 0], pairs[-1 - w, 1]
                    times_pair(table, scope, levels, left, right, joints[-1 - w])
        for c in range(s):
            if above[c] == s:
                place = places[place_at[c] : place_at[c + 1]]
                offsets(scope, rests[c], levels, place)
                times_message(table, messages[message_at[c] : message_at[c + 1]], place)
        log += summed(table, levels[v], messages[message_at[s] : message_at[s + 1]])
    outer = np.ones(message_at[steps])
    for s in range(steps - 1, -1, -1):
        v = order[s]
        table = tables[at[s] : at[s + 1]]
        mine = outer[message_at[s] : message_at[s + 1]]
        for level in range(levels[v]):
            for j in range(len(mine)):
                table[level * len(mine) + j] *= mine[j]
        read_marginal(table, levels[v], marginal[v])
        for c in range(s):
            if above[c] == s:
                place = places[place_at[c] : place_at[c + 1]]
                message = messages[message_at[c] : message_at[c + 1]]
                hand_down(table, place, message, outer[message_at[c] : message_at[c + 1]])
    return float(log)


def _sorted_parent(mask: int, position: Numbers) -> int:
    """Step of the neighbour that is eliminated first; above all steps if there is none."""
    first = len(position)
    for v in range(len(position)):
        if (mask >> v) & 1 and position[v] < first:
            first = position[v]
    return first


sorted_parent = numba.njit(cache=True, inline="always")(_sorted_parent)
one_record = numba.njit(cache=True)(_one_record)


def _all_records(
    codes: Numbers,
    readings: Numbers,
    levels: Numbers,
    prior: Numbers,
    start: Numbers,
    parent: Numbers,
    kept: Numbers,
    leak: Numbers,
    pairs: Numbers,
    joints: Numbers,
    largest: int,
) -> tuple[Numbers, Numbers, Numbers]:
    count, sizes = len(codes), byte_sizes(levels)
    marginal = np.zeros((count, len(levels), prior.shape[1]))
    log_evidence = np.empty(count)
    for n in numba.prange(count):
        log_evidence[n] = one_record(
            codes[n],
            readings,
            levels,
            sizes,
            prior,
            start,
            parent,
            kept,
            leak,
            pairs,
            joints,
            largest,
            marginal[n],
        )
    return marginal, log_evidence, np.isnan(log_evidence)


all_records = numba.njit(cache=True, parallel=True)(_all_records)
