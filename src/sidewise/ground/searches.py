"""The least value and the zero of a function, without the eighth of a second that importing all of
scipy's searches takes. Tests hold both against scipy's own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from sidewise.ground.arrays import Array

# A step must lower the value by this share of what the slope promises (Armijo's condition).
PROMISED = 1e-4
# Powell's damping: a curvature below this share of the last one is drawn towards it.
DAMPED = 0.2
SHORTEST_STEP = 1e-8


@dataclass(frozen=True, slots=True)
class Minimum:
    """Where a search ended: the place, value and slope there, and the curvature learned, from which
    a search nearby may start."""

    at: Array
    value: float
    slope: Array
    evaluations: int
    converged: bool
    curvature: Array = field(repr=False)


def find_minimum(
    objective: Callable[[Array], tuple[float, Array]],
    start: Array,
    low: Array | float,
    high: Array | float,
    *,
    tolerance: float = 1e-10,
    curvature: Array | None = None,
    most: int = 500,
) -> Minimum:
    """Least value of a smooth function within bounds, from `start`; `objective` gives value and
    slope, an infinite value where there is none.

    Quasi-Newton steps (BFGS with Powell's damping) on what is not held at a bound, each projected
    on the bounds. Ends when the next step promises less than `tolerance`, in units of the value.
    `curvature`: second derivatives to begin with (positive definite). A local minimum.

    Nocedal J, Wright SJ, Numerical Optimization, 2nd ed. 2006, chapters 6, 16 and 18 (from memory).
    """
    x = np.clip(np.asarray(start, dtype=float), low, high)
    value, slope = objective(x)
    known = curvature is not None
    bent = np.eye(x.size) * max(float(np.linalg.norm(slope)), 1.0)
    bent = np.array(curvature, dtype=float) if curvature is not None else bent
    evaluations = 1
    while evaluations < most:
        step = _newton_step(bent, x, slope, low, high)
        promise = -float(slope @ step)
        if promise <= 0 and (step != 0).any():
            bent, known = np.eye(x.size) * max(float(np.linalg.norm(slope)), 1.0), False
            continue
        if promise == 0 or (known and promise / 2 <= tolerance):
            return Minimum(x, value, slope, evaluations, True, bent)
        moved = _moved(objective, x, value, slope, step, (low, high))
        evaluations += moved.evaluations
        if not moved.lower:
            # Nothing lower can be told from rounding; where the curvature is untried, try it plain.
            if known and promise > tolerance:
                bent, known = np.eye(x.size) * max(float(np.linalg.norm(slope)), 1.0), False
                continue
            return Minimum(x, value, slope, evaluations, promise / 2 <= tolerance, bent)
        change, turn = moved.at - x, moved.slope - slope
        if not known and float(change @ turn) > 0:
            bent = np.eye(x.size) * float(turn @ turn) / float(change @ turn)
        bent, known = _updated(bent, change, turn), True
        x, value, slope = moved.at, moved.value, moved.slope
    return Minimum(x, value, slope, evaluations, False, bent)


def _newton_step(
    bent: Array, x: Array, slope: Array, low: Array | float, high: Array | float
) -> Array:
    """The step to the least value of the parabola; what is pressed against a bound stays."""
    free = ~(((x <= low) & (slope > 0)) | ((x >= high) & (slope < 0)))
    step = np.zeros(x.size)
    if free.any():
        step[free] = -np.linalg.solve(bent[np.ix_(free, free)], slope[free])
    return step


@dataclass(frozen=True, slots=True)
class _Moved:
    at: Array
    value: float
    slope: Array
    evaluations: int
    lower: bool


def _moved(
    objective: Callable[[Array], tuple[float, Array]], x: Array, value: float, slope: Array,
    step: Array, bounds: tuple[Array | float, Array | float],
) -> _Moved:  # fmt: skip
    """The first of ever shorter steps that lowers the value enough."""
    size, tries = 1.0, 0
    while size > SHORTEST_STEP:
        to = np.clip(x + size * step, *bounds)
        promised = float(slope @ (to - x))
        found, there = objective(to)
        tries += 1
        if np.isfinite(found) and found <= value + PROMISED * promised and found < value:
            return _Moved(to, found, there, tries, True)
        # The parabola through value, slope and the value found; never a sliver of the step.
        above = found - value - promised
        size *= float(np.clip(-promised / (2 * above), 0.1, 0.5)) if above > 0 else 0.5
    return _Moved(x, value, slope, tries, False)


def _updated(bent: Array, change: Array, turn: Array) -> Array:
    """Second derivatives after a step `change` over which the slope turned by `turn`."""
    along = bent @ change
    seen, expected = float(change @ turn), float(change @ along)
    if expected <= 0:
        return bent
    if seen < DAMPED * expected:
        share = (1 - DAMPED) * expected / (expected - seen)
        turn = share * turn + (1 - share) * along
        seen = float(change @ turn)
    return np.asarray(bent - np.outer(along, along) / expected + np.outer(turn, turn) / seen)


def find_root(
    function: Callable[[float], float], low: float, high: float, *, tolerance: float = 1e-12
) -> float:
    """Where `function` is zero between two places where its signs differ, to `tolerance`.

    Inverse quadratic interpolation where it is safe, halving elsewhere. ValueError for equal signs.

    Chandrupatla TR, Adv Eng Softw 1997;28:145-149 (from memory).
    """
    a, b = low, high
    at_a, at_b = function(a), function(b)
    if at_a == 0 or at_b == 0:
        return a if at_a == 0 else b
    if (at_a > 0) == (at_b > 0):
        raise ValueError("the signs at both ends are equal")
    share = float(np.clip(at_a / (at_a - at_b), 0.05, 0.95))
    while True:
        x = a + share * (b - a)
        at_x = function(x)
        if (at_x > 0) == (at_a > 0):
            c, at_c = a, at_a
        else:
            c, at_c, b, at_b = b, at_b, a, at_a
        a, at_a = x, at_x
        best, at_best = (a, at_a) if abs(at_a) < abs(at_b) else (b, at_b)
        least = (2 * np.finfo(float).eps * abs(best) + tolerance / 2) / abs(b - a)
        if least > 0.5 or at_best == 0:
            return float(best)
        share = float(np.clip(_next_share(a, b, c, at_a, at_b, at_c), least, 1 - least))


def _next_share(a: float, b: float, c: float, at_a: float, at_b: float, at_c: float) -> float:
    xi, phi = (a - b) / (c - b), (at_a - at_b) / (at_c - at_b)
    if not (phi**2 < xi and (1 - phi) ** 2 < 1 - xi):
        return 0.5
    return at_a / (at_b - at_a) * at_c / (at_b - at_c) + (c - a) / (b - a) * at_a / (
        at_c - at_a
    ) * at_b / (at_c - at_b)
