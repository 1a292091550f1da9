"""The noisy-OR as an array: P(absent | levels of some parents), one axis for each parent."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.plain.block import Block


def spread(vector: Array, axis: int, axes: int) -> Array:
    """(L, B) as axis number `axis` of so many, the batch last."""
    shape = [1] * axes + [vector.shape[-1]]
    shape[axis] = vector.shape[0]
    return vector.reshape(shape)


def absent_table(block: Block, reading: int, scope: Sequence[int]) -> Array:
    """P(absent | levels of the parents in `scope`), axes in that order, the batch last."""
    table = (1.0 - block.parameter("leak")[reading]).reshape([1] * len(scope) + [-1])
    return np.asarray(table * spared_table(block, reading, scope))


def spared_table(block: Block, reading: int, scope: Sequence[int]) -> Array:
    """P(none of the parents in `scope` causes the finding | their levels): without the leak."""
    network = block.network
    structure = network.structure
    place = dict(network.linked[reading])
    first = structure.first_arc[reading]
    table = np.ones([1] * (len(scope) + 1))
    for axis, variable in enumerate(scope):
        vector = block.cut(network.kept[first + place[variable], : structure.levels[variable]])
        table = table * spread(vector, axis, len(scope))
    return np.asarray(table)


def likelihood_of(absent_probability: Array, absent: Array, present: Array) -> Array:
    """Likelihood of what was observed: absent * P + present * (1 - P)."""
    if not present.any():
        return np.asarray(absent_probability * absent)
    return np.asarray(present + (absent - present) * absent_probability)
