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

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.normal import normal_probability, normal_quantile

NODES = 15
# Half-width of the grid in standard deviations. A small rho makes the integrand wide and smooth, so
# the tails count; a large one makes it narrow, so the spacing counts. Measured, see the decision.
WIDEST, NARROWING = 5.8, 2.0
# Narrowest conditional standard deviation, in node spacings, that the grid resolves: the error
# of the rule is exp(-2 pi^2 * 0.68^2) = 1e-4.
RESOLVED = 0.68
SMALLEST_RHO = 1e-12
FURTHEST = 100.0  # standard deviations; less the widest shift of a node it is still beyond 40
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
    return _grid_of(np.frombuffer(structure), np.frombuffer(mechanism), nodes)


def _grid_of(rho_structure: Array, rho_mechanism: Array, nodes: int) -> _Grid:
    r = np.maximum(rho_structure + rho_mechanism, SMALLEST_RHO)
    half = WIDEST - NARROWING * r
    points = np.linspace(-1.0, 1.0, nodes)[:, None] * half
    weight = np.exp(-0.5 * points * points)
    weight /= weight.sum(axis=0)
    scale = np.sqrt(1.0 - r)
    return _Grid(points, weight, rho_structure / r, points * (np.sqrt(r) / scale), scale)


@lru_cache(maxsize=MOST_KEPT)
def _family_nodes(structure: bytes, mechanism: bytes, mechanisms: int, nodes: int) -> Nodes:
    return _nodes_of(_grid(structure, mechanism, nodes), mechanisms)


def _nodes_of(grid: _Grid, mechanisms: int) -> Nodes:
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


def node_probability(present: Array, shift: Array, scale: Array, sign: float) -> Array:
    """P(present) (sign 1) or P(absent) (sign -1) at each node, (K, ..., D), draw axis last.

    present: (..., D) the reading's probability averaged over the factors; shift (K, D), scale (D,).
    """
    # The threshold of an impossible or certain finding is infinite, for which Phi's polynomials
    # have no answer; beyond 40 standard deviations Phi is 0 or 1 to the last bit.
    threshold = np.clip(normal_quantile(present), -FURTHEST, FURTHEST)
    threshold *= sign / scale
    inner = (len(shift), *[1] * (present.ndim - 1), shift.shape[-1])
    argument = threshold[None] + (sign * shift).reshape(inner)
    return normal_probability(np.ascontiguousarray(argument))


def family_counts(
    shares: Array, mechanisms: Sequence[int], rho_structure: Array, rho_mechanism: Array
) -> Array:
    """(D, n + 1) probability that 0, 1, ... n findings of one family are present.

    shares: (n,) or (D, n) probability of each finding alone, 0 to 1. mechanisms: (n,) which
    findings belong together, any numbers. rho_structure, rho_mechanism: (D,) correlations, their
    sum at most 0.75. Summed over the same nodes as the posterior (module's docstring), counts by
    convolution at each node, where the findings are independent.
    """
    kinds = list(dict.fromkeys(mechanisms))
    nodes = _nodes_of(_grid_of(rho_structure, rho_mechanism, NODES), len(kinds))
    draws, findings = len(rho_structure), len(mechanisms)
    present = np.broadcast_to(shares, (draws, findings)).T
    at_node = node_probability(present, nodes.shift, nodes.scale, 1.0)
    counts = []
    for kind in kinds:
        columns = [i for i, mechanism in enumerate(mechanisms) if mechanism == kind]
        counts.append(_counts(at_node[:, columns]))
    return np.moveaxis(_over_nodes(counts, nodes), 0, -1)


def _counts(at_node: Array) -> Array:
    """(n + 1, K, D) probability of each number of findings present at each node of (K, n, D)."""
    found = np.ones((1, at_node.shape[0], at_node.shape[2]))
    for finding in np.moveaxis(at_node, 1, 0):
        found = _convolved(found, np.stack([1.0 - finding, finding]))
    return found


def _convolved(first: Array, second: Array) -> Array:
    """Counts (k, ...) of two sets of findings that are independent at each node, added."""
    found = np.zeros((len(first) + len(second) - 1, *first.shape[1:]))
    for count, chance in enumerate(second):
        found[count : count + len(first)] += first * chance
    return found


def _over_nodes(counts: Sequence[Array], nodes: Nodes) -> Array:
    """(n + 1, D) counts of all mechanisms, the nodes summed out."""
    if len(counts) == 1:
        return np.asarray((counts[0] * nodes.weight).sum(axis=1))
    if len(counts) == 2:
        # Given the first mechanism's node: sum out the second's, then add the counts.
        first, second = counts
        beside = np.einsum("xyd,nyd->nxd", nodes.joint, second)
        return np.asarray(_convolved(first, beside).sum(axis=1))
    total = np.ones((1, *nodes.weight.shape))
    for mine in counts:
        total = _convolved(total, np.einsum("zxd,nxd->nzd", nodes.given, mine))
    return np.asarray((total * nodes.weight).sum(axis=1))
