"""A plan with the shapes worked out: how each bucket's tables are multiplied."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.network.plain.buckets import Bucket, Plan

# Up to this many entries the order of multiplication does not matter.
SMALL = 256


@dataclass(frozen=True, slots=True)
class Step:
    """What one bucket does.

    factors: (number of the factor, shape without the batch) of each table made here.
    shapes: shape in which each child's message arrives.
    merges: pairs (kept, absorbed) of operands to multiply, in order; the last holds the product.
    wanted: some condition's marginal is read in this bucket or below it.
    """

    bucket: Bucket
    scopes: tuple[tuple[int, ...], ...]
    shapes: tuple[tuple[int, ...], ...]
    merges: tuple[tuple[int, int], ...]
    unary: bool
    wanted: bool
    away: tuple[tuple[int, ...], ...]


def step_of(
    plan: Plan,
    sizes: tuple[int, ...],
    scopes: tuple[tuple[int, ...], ...],
    bucket: Bucket,
    condition: bool,
    wanted: bool,
) -> Step:
    """Shapes and order of multiplication of one bucket; `condition`: its variable is one."""
    position = plan.position.__getitem__
    mine = tuple(tuple(sorted(scopes[f], key=position)) for f in bucket.factors)
    messages = tuple(plan.buckets[child].scope[1:] for child in bucket.children)
    operands = [*mine, *messages]
    if condition:
        operands.append((bucket.variable,))
    sets = [frozenset(scope) for scope in operands]
    shapes = tuple(tuple(sizes[v] if v in s else 1 for v in bucket.scope) for s in sets)
    away = tuple(
        tuple(axis for axis, v in enumerate(bucket.scope) if v not in set(m)) for m in messages
    )
    small = bucket.size <= SMALL
    merges = tuple((0, other) for other in range(1, len(shapes))) if small else _merges(shapes)
    return Step(bucket, mine, shapes, merges, condition, wanted, away)


def _merges(shapes: tuple[tuple[int, ...], ...]) -> tuple[tuple[int, int], ...]:
    """Order of multiplication that keeps the tables between small.

    First each operand goes into the smallest other that already spans it; what is left is
    chained, each time taking the operand that widens the product least. The widest goes last.
    """
    masks = [sum(1 << a for a, n in enumerate(shape) if n > 1) for shape in shapes]
    sizes = [int(np.prod(shape)) for shape in shapes]
    left = sorted(range(len(shapes)), key=sizes.__getitem__)
    merges, kept = [], []
    while left:
        i = left.pop(0)
        host = next((j for j in left if masks[i] | masks[j] == masks[j]), None)
        if host is None:
            kept.append(i)
        else:
            merges.append((host, i))
    first, rest = kept[0], kept[1:]
    mask, shape = masks[first], shapes[first]
    while rest:
        best = min(rest, key=lambda j: (_widened(shape, shapes[j]), -(masks[j] & mask).bit_count()))
        rest.remove(best)
        shape = tuple(map(max, shape, shapes[best]))
        mask |= masks[best]
        merges.append((first, best))
    return tuple(merges)


def _widened(a: tuple[int, ...], b: tuple[int, ...]) -> int:
    size = 1
    for x, y in zip(a, b, strict=True):
        size *= max(x, y)
    return size
