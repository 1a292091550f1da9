"""Findings of one family are not independent witnesses: two nested normal factors.

    P(present | p, z, u) = Phi((Phi^-1(p) + sqrt(rho_s) z + sqrt(rho_m) u) / sqrt(1 - r)),
    r = rho_s + rho_m

z is shared by the findings of one structure, u by those of one mechanism; averaged over both each
finding keeps its own p exactly (random effects after Qu, Tan and Kutner, Biometrics 1996;
52:797-810). With r = rho_s + rho_m all findings of a mechanism depend on x = sqrt(rho_s) z +
sqrt(rho_m) u ~ N(0, r) alone, and the x of two mechanisms of one structure correlate by
rho_s / r. So a family is a small graph: one node variable per mechanism with K levels, joined by a
K x K table of positive weights; the nodes are summed out like any other variable.

Nodes are equally spaced (the trapezoid rule; Trefethen and Weideman, SIAM Review 2014;
56:385-458). At 15 nodes that is more accurate than Gauss-Hermite where it matters (many findings,
large rho), and one set of nodes serves every mechanism, so that Phi is needed at K points rather
than at K x K. `docs/decisions/exact-elimination.md` has the measurements.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sidewise.reason.engine.network import Array
from sidewise.reason.engine.normal import normal_probability

NODES = 15
# Half-width of the grid in standard deviations. A small rho makes the integrand wide and smooth, so
# the tails count; a large one makes it narrow, so the spacing counts. Measured, see the decision.
WIDEST, NARROWING = 5.8, 2.0
# Narrowest conditional standard deviation, in node spacings, that the grid resolves: the error
# of the rule is exp(-2 pi^2 * 0.68^2) = 1e-4.
RESOLVED = 0.68
SMALLEST_RHO = 1e-12
# Families and numbers of their mechanisms whose nodes are kept: 0.9 MB each with 500 draws.
MOST_KEPT = 48


@dataclass(frozen=True, eq=False)
class Nodes:
    """Quadrature of one family, draw axis last.

    shift: (K, D) added to Phi^-1(p) / scale before Phi is taken.
    scale: (D,) sqrt(1 - r).
    weight: (K, D) probability of each node.
    joint: (K, K, D) probability of the nodes of two mechanisms.
    given: (K, K, D) probability of a mechanism's node (second) given the structure's node (first).
    """

    shift: Array
    scale: Array
    weight: Array
    joint: Array
    given: Array


def family_nodes(rho_structure: Array, rho_mechanism: Array, mechanisms: int) -> Nodes:
    """Nodes for draws of the two correlations, each (D,), of a family with so many mechanisms.

    Kept from record to record: the draws of the correlations are the same for all.
    """
    rho = rho_structure.tobytes(), rho_mechanism.tobytes()
    return _family_nodes(*rho, min(mechanisms, 3), NODES)


@dataclass(frozen=True, eq=False)
class _Grid:
    """What the nodes of a family are, however many of its mechanisms were seen."""

    points: Array
    weight: Array
    share: Array
    shift: Array
    scale: Array


@lru_cache(maxsize=MOST_KEPT)
def _grid(structure: bytes, mechanism: bytes, nodes: int) -> _Grid:
    rho_structure, rho_mechanism = np.frombuffer(structure), np.frombuffer(mechanism)
    r = np.maximum(rho_structure + rho_mechanism, SMALLEST_RHO)
    half = WIDEST - NARROWING * r
    points = np.linspace(-1.0, 1.0, nodes)[:, None] * half
    weight = np.exp(-0.5 * points * points)
    weight /= weight.sum(axis=0)
    scale = np.sqrt(1.0 - r)
    return _Grid(points, weight, rho_structure / r, points * (np.sqrt(r) / scale), scale)


@lru_cache(maxsize=MOST_KEPT)
def _family_nodes(structure: bytes, mechanism: bytes, mechanisms: int, nodes: int) -> Nodes:
    grid = _grid(structure, mechanism, nodes)
    joint = given = np.empty((0, 0, 0))
    if mechanisms == 2:
        joint = _joint(grid.points, grid.weight, grid.share)
    if mechanisms > 2:
        # With z itself as the first axis the correlation of z and x is the root of the share.
        given = _joint(grid.points, grid.weight, np.sqrt(grid.share)) / grid.weight[:, None]
    return Nodes(grid.shift, grid.scale, grid.weight, joint, given)


def _joint(grid: Array, weight: Array, correlation: Array) -> Array:
    """(K, K, D) weights of two standard normals with this correlation; margins are `weight`.

    Where the correlation is too near one for the grid, the tightest table it resolves is mixed
    with the diagonal, so that the correlation is still met.
    """
    spacing = grid[1] - grid[0]
    most = np.sqrt(1.0 - np.minimum(RESOLVED * spacing, 1.0) ** 2)
    used = np.minimum(correlation, most)
    variance = 1.0 - used * used
    away = grid[None] - used * grid[:, None]
    table = np.exp(-0.5 * away * away / variance)
    table *= weight[:, None]
    table = _with_margins(table, weight)
    mixed = np.clip((correlation - used) / (1.0 - most), 0.0, 1.0)
    if mixed.any():
        table *= 1.0 - mixed
        diagonal = np.arange(len(grid))
        table[diagonal, diagonal] += mixed * weight
    return table


def _with_margins(table: Array, weight: Array) -> Array:
    """The table scaled until both margins are `weight` (iterative proportional fitting)."""
    for _ in range(4):
        table *= (weight / table.sum(axis=1))[:, None]
        table *= (weight / table.sum(axis=0))[None]
    table *= (weight / table.sum(axis=1))[:, None]
    return table


@lru_cache(maxsize=1)
def _ndtri() -> Callable[[Array], Array]:
    """The normal quantile, from a library that is imported where it is first needed."""
    from scipy.special import ndtri

    return ndtri  # type: ignore[no-any-return]


def node_probability(present: Array, shift: Array, scale: Array, sign: float) -> Array:
    """P(present) (sign 1) or P(absent) (sign -1) at each node, (K, ..., D), draw axis last.

    present: (..., D) the reading's probability averaged over the factors; shift (K, D), scale (D,).
    """
    threshold = np.asarray(_ndtri()(present))
    threshold *= sign / scale
    inner = (len(shift), *[1] * (present.ndim - 1), shift.shape[-1])
    argument = threshold[None] + (sign * shift).reshape(inner)
    return normal_probability(np.ascontiguousarray(argument))
