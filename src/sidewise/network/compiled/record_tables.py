"""Compiled records: weights, tables and messages of one record.

A bucket's table has its own variable as the slowest axis and its neighbours after it in order of
elimination, so that summing out and handing down are loops over contiguous numbers. Tables of
factors and offsets of messages are built by doubling: one axis at a time, each level a multiple (or
a shift) of what stands already.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sidewise.network.compiled.jit import compiled

Numbers = Any  # numpy arrays inside compiled code

TINY = 1e-300
SMALL = 1e-100  # a product so small has its log taken, before it underflows


@compiled
def fold(
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
            # One logarithm for many findings, not one for each.
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


@compiled
def scale_weights(weights: Numbers, levels: Numbers) -> float:
    """Levels of each variable scaled to a sum of one; the log of what was taken out."""
    log, product = 0.0, 1.0
    for v in range(len(levels)):
        total = 0.0
        for level in range(levels[v]):
            total += weights[v, level]
        product *= total
        if product < SMALL:
            log += np.log(product)
            product = 1.0
        scale = 1.0 / max(total, TINY)
        for level in range(levels[v]):
            weights[v, level] *= scale
    return float(log + np.log(product))


@compiled
def offsets(scope: Numbers, mask: int, levels: Numbers, out: Numbers) -> None:
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


@compiled
def times_positive(
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
    # The absent probability is a product, so that each axis is one more multiplication; a variable
    # that is no parent repeats what stands.
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


@compiled
def times_pair(
    table: Numbers, scope: Numbers, levels: Numbers, left: int, right: int, joint: Numbers
) -> None:
    """table *= the joint prior of two sides."""
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


@compiled
def times_message(table: Numbers, message: Numbers, place: Numbers) -> None:
    """table *= message, each entry at its place."""
    for j in range(len(table)):
        table[j] *= message[place[j]]


@compiled
def summed(table: Numbers, own_levels: int, message: Numbers) -> float:
    """Sum out the first axis, scale by the largest entry; its log."""
    rest = len(message)
    largest = 0.0
    for j in range(rest):
        message[j] = table[j]
    for level in range(1, own_levels):
        for j in range(rest):
            message[j] += table[level * rest + j]
    # The largest entry, not the sum: it brings the table to 1 whatever its size.
    for j in range(rest):
        largest = max(largest, message[j])
    scale = 1.0 / max(largest, TINY)
    for j in range(rest):
        message[j] *= scale
    return float(np.log(largest))


@compiled
def hand_down(table: Numbers, place: Numbers, message: Numbers, out: Numbers) -> None:
    """What the rest of the network says to a child: belief summed over the rest, over its own."""
    for j in range(len(out)):
        out[j] = 0.0
    for j in range(len(table)):
        out[place[j]] += table[j]
    # The child's own message is in the belief; dividing takes it out again, and where it is zero
    # the belief is zero too.
    for j in range(len(out)):
        out[j] /= max(message[j], TINY)


@compiled
def read_marginal(table: Numbers, own_levels: int, out: Numbers) -> None:
    """The table summed over all but its first axis, to a sum of one."""
    rest = len(table) // own_levels
    total = 0.0
    for level in range(own_levels):
        part = 0.0
        for j in range(rest):
            part += table[level * rest + j]
        out[level] = part
        total += part
    scale = 1.0 / max(total, TINY)
    for level in range(own_levels):
        out[level] *= scale
