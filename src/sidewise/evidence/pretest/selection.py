"""People were seen because something hurt: level probabilities before that was known.

Each complaint side has a node "complaint", a noisy-OR of the conditions and another cause. The
published figures are those of people who complain, so the figures before the complaint are the
fixed point p for which p, conditioned on the complaints, gives the published ones back:
    p_jl <- published_jl / lift_jl(p), levels of a condition made to sum to one with "none",
    lift_jl(p) = P(complaints | condition j at level l) / P(complaints).
Exact for one or two complaining sides that share the conditions of the whole person, given which
the sides are independent (the concordance of the sides is left to the network).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import prod

import numpy as np

from sidewise.errors import UserError
from sidewise.evidence.conditions import Conditions
from sidewise.ground.arrays import Array, BoolArray, IndexArray

STEPS = 500
CLOSE = 1e-9


@dataclass(frozen=True)
class _Layout:
    """Where the columns are: by side and by person, and the joint states of the person's own."""

    condition_of: IndexArray
    starts: IndexArray
    side: BoolArray
    links: Array
    leak: float
    states: IndexArray
    person: tuple[int, ...]


@lru_cache(maxsize=8)
def _layout(conditions: Conditions) -> _Layout:
    network = conditions.network
    person = tuple(j for j, c in enumerate(network) if c.scope == "person")
    levels = [range(len(network[j].levels)) for j in person]
    counts = [len(c.levels) - 1 for c in network]
    return _Layout(
        condition_of=np.repeat(np.arange(len(network)), counts),
        starts=np.cumsum([0, *counts[:-1]]),
        side=np.array([c.scope == "side" for c in network]),
        links=np.array(conditions.complaint_links),
        leak=conditions.other_cause.leak,
        states=np.array(list(product(*levels)), dtype=np.intp).reshape(
            prod(map(len, levels)), len(person)
        ),
        person=person,
    )


def _quiet(p: Array, layout: _Layout) -> Array:
    """(D, J) probability that a condition does not make its side complain."""
    return np.asarray(1 - np.add.reduceat(p * layout.links, layout.starts, axis=1))


def _states(p: Array, layout: _Layout) -> tuple[Array, Array]:
    """(D, S) probability of each joint state of the person's conditions, and (S,) its quietness."""
    weight = np.ones((len(p), len(layout.states)))
    quiet = np.ones(len(layout.states))
    for place, j in enumerate(layout.person):
        columns = np.flatnonzero(layout.condition_of == j)
        mine = np.hstack([1 - p[:, columns].sum(axis=1, keepdims=True), p[:, columns]])
        weight *= mine[:, layout.states[:, place]]
        quiet *= np.concatenate([[1.0], 1 - layout.links[columns]])[layout.states[:, place]]
    return weight, quiet * (1 - layout.leak)


def _lifts(p: Array, layout: _Layout, sides: int) -> tuple[Array, Array]:
    """(D, C) lift of each level and (D, J) lift of "none"."""
    quiet = _quiet(p, layout)
    side = quiet[:, layout.side].prod(axis=1)[:, None]
    weight, shared = _states(p, layout)
    heard = 1 - shared * side
    other = heard ** (sides - 1)
    whole = (weight * heard * other).sum(axis=1)
    without = side / np.where(layout.side, quiet, 1.0)
    # P(complaints | j none) for a condition of the side: its own side without its part.
    base = (weight * other).sum(axis=1)[:, None]
    slope = (weight * other * shared).sum(axis=1)[:, None] * without
    none = (base - slope) / whole[:, None]
    level = (base - slope[:, layout.condition_of] * (1 - layout.links)) / whole[:, None]
    for place, j in enumerate(layout.person):
        value = weight * heard * other
        for k in range(int(layout.states[:, place].max()) + 1):
            chosen = layout.states[:, place] == k
            share = weight[:, chosen].sum(axis=1)
            lift = value[:, chosen].sum(axis=1) / np.maximum(share, 1e-300) / whole
            if k == 0:
                none[:, j] = lift
            else:
                level[:, layout.starts[j] + k - 1] = lift
    return level, none


def _step(p: Array, published: Array, none: Array, layout: _Layout, sides: int) -> Array:
    lift, lift_none = _lifts(p, layout, sides)
    level, rest = published / lift, none / lift_none
    total = rest + np.add.reduceat(level, layout.starts, axis=1)
    return np.asarray(level / total[:, layout.condition_of] - p)


def _stride(step: Array, last: Array) -> Array:
    """(D, 1) how far to go along a step: 1 / (1 - rate), rate the shrinkage since the last one.

    Aitken's extrapolation with one rate for each draw (all levels hang on the one probability of
    a complaint). At most fourfold, and backwards never: shares stay within 0 to 1.
    """
    rate = (step * last).sum(axis=1) / np.maximum((last * last).sum(axis=1), 1e-300)
    return np.asarray(1 / (1 - np.clip(rate, 0.0, 0.75)))[:, None]


def after_complaint(p: Array, conditions: Conditions, sides: int = 1) -> Array:
    """(D, C) level probabilities of a complaining side once `sides` (1 or 2) sides complain."""
    return np.asarray(p * _lifts(p, _layout(conditions), sides)[0])


def before_complaint(published: Array, conditions: Conditions, sides: int = 1) -> Array:
    """(D, C) level probabilities that, given `sides` complaints, become `published` (D, C).

    Every level and "none" must have a probability above 0. Raises UserError where no such figures
    are found, which would mean that the published ones cannot all hold with these links.
    """
    layout = _layout(conditions)
    if sides not in (1, 2):
        raise UserError("complaining sides", sides, "1 or 2")
    none = 1 - np.add.reduceat(published, layout.starts, axis=1)
    if not (published >= 0).all() or not (none > 0).all():
        raise UserError("published figures", float(none.min()), "levels that sum to below 1")
    p, last = published.copy(), None
    for _ in range(STEPS):
        step = _step(p, published, none, layout, sides)
        if float(np.abs(step).max()) < CLOSE:
            return np.asarray(p + step)
        stride = np.ones((len(p), 1)) if last is None else _stride(step, last)
        p, last = p + stride * step, step if last is None else None
    left = float(np.abs(after_complaint(p, conditions, sides) - published).max())
    if left > 1e-6:
        raise UserError("published figures", f"{left:.2g} apart", "figures that a complaint allows")
    return p
