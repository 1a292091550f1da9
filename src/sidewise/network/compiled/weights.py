"""Level weights of the conditions, compiled: the prior times everything that folds into it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from sidewise.network.compiled.block import fill, fill_kept, fill_seen
from sidewise.network.compiled.inputs import Sources, Tables
from sidewise.network.compiled.jit import compiled

TINY = 1e-300


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
            fill(weights, row, s.prior, row, first)
    # Foldings of one finding stand together, so that what was seen of it is read once.
    before = -1
    for fold in range(len(t.fold)):
        column, variable, arc = t.fold[fold, 0], t.fold[fold, 1], t.fold[fold, 2]
        if column != before:
            fill_seen(s, column, first, seen)
            before = column
        for level in range(1, t.fold[fold, 3]):
            fill_kept(line, 0, s.link, arc, level, first)
            row = variable * levels + level
            for lane in range(lanes):
                weights[row, lane] *= (1.0 - seen[3, lane]) + seen[3, lane] * line[0, lane]
    # What does not depend on any level goes into the levels of the first variable: any would do.
    for fold in range(len(t.folded)):
        fill_seen(s, t.folded[fold, 0], first, seen)
        fill(line, 0, s.leak, t.folded[fold, 1], first)
        for row in range(levels):
            for lane in range(lanes):
                weights[row, lane] *= seen[2, lane] * (1.0 - seen[3, lane] * line[0, lane])
    for fold in range(len(t.single)):
        fill_seen(s, t.single[fold, 0], first, seen)
        fill(seen, 4, s.leak, t.single[fold, 1], first)
        variable = t.single[fold, 2]
        count = t.single[fold, 4] if variable >= 0 else levels
        for level in range(count):
            depth = level if variable >= 0 else 0
            fill_kept(line, 0, s.link, t.single[fold, 3], depth, first)
            row = max(variable, 0) * levels + level
            for lane in range(lanes):
                quiet = (1.0 - seen[4, lane]) * line[0, lane]
                weights[row, lane] *= seen[1, lane] + seen[0, lane] * quiet
    for variable in range(conditions):
        scale_levels(weights, variable * levels, levels, log, True)


@compiled
def scale_levels(weights: Any, at: int, levels: int, log: Any, count: bool) -> None:
    """One variable's levels scaled to a sum of one; with `count`, its log added to `log`."""
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
