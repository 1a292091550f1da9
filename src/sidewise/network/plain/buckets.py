"""What is multiplied where: the factors and messages that meet when a variable is summed out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sidewise.network.plain.order import bits_of, greedy, mask_of


@dataclass(frozen=True, slots=True)
class Bucket:
    """One step: sum out `variable` from the product of `factors` and of `children`'s messages.

    scope: the variable itself, then its neighbours in order of elimination.
    parent: number of the bucket that receives the message, -1 for a root.
    """

    variable: int
    scope: tuple[int, ...]
    factors: tuple[int, ...]
    children: tuple[int, ...]
    parent: int
    size: int


@dataclass(frozen=True, slots=True)
class Plan:
    """Buckets in order of elimination, each variable's position, and the largest table."""

    buckets: tuple[Bucket, ...]
    position: tuple[int, ...]
    largest: int


def elimination_plan(sizes: Sequence[int], scopes: Sequence[Sequence[int]]) -> Plan:
    """Plan for variables of these sizes and factors of these scopes.

    Variables in no factor get a bucket of their own without factors.
    """
    masks = [mask_of(scope) for scope in scopes]
    order, neighbours = greedy(sizes, masks)
    position = [0] * len(sizes)
    for place, variable in enumerate(order):
        position[variable] = place
    return _buckets(sizes, scopes, order, neighbours, position)


def _buckets(
    sizes: Sequence[int],
    scopes: Sequence[Sequence[int]],
    order: list[int],
    neighbours: list[int],
    position: list[int],
) -> Plan:
    factors: list[list[int]] = [[] for _ in order]
    for number, scope in enumerate(scopes):
        factors[min([position[v] for v in scope])].append(number)
    children: list[list[int]] = [[] for _ in order]
    buckets, largest = [], 1
    for place, variable in enumerate(order):
        rest = sorted([position[b] for b in bits_of(neighbours[variable])])
        parent = rest[0] if rest else -1
        scope = (variable, *[order[p] for p in rest])
        if parent >= 0:
            children[parent].append(place)
        size = math.prod([sizes[v] for v in scope])
        largest = max(largest, size)
        mine, theirs = tuple(factors[place]), tuple(children[place])
        buckets.append(Bucket(variable, scope, mine, theirs, parent, size))
    return Plan(tuple(buckets), tuple(position), largest)
