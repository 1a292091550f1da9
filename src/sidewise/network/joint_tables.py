"""Tables of a network as a whole, made once: joint priors of two sides, nodes of families."""

from __future__ import annotations

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.families import Nodes, family_nodes
from sidewise.network.model import Network


def family_quadrature(network: Network, family: str, mechanisms: int) -> Nodes:
    """Nodes of a family of which so many mechanisms were seen; made once for a network."""
    key = f"nodes {min(mechanisms, 3)} {family}"
    nodes = network.cache.get(key)
    if nodes is None:
        number = network.structure.families.index(family)
        rho_structure = network.by_column["rho_structure"][number]
        rho_mechanism = network.by_column["rho_mechanism"][number]
        nodes = network.cache[key] = family_nodes(rho_structure, rho_mechanism, mechanisms)
    assert isinstance(nodes, Nodes)
    return nodes


def pair_tables(network: Network) -> dict[int, Array]:
    """Joint prior of each active pair, (L, L, D); made once for a network."""
    tables = network.cache.get("pairs")
    if tables is None:
        tables = network.cache["pairs"] = {pair: _table(network, pair) for pair in network.paired}
    return tables


def _table(network: Network, pair: int) -> Array:
    left, right = network.structure.pair_numbers[pair]
    levels, prior = network.structure.levels[left], network.by_column["prior"]
    concordance = network.by_column["concordance"][pair]
    return side_table(prior[left, :levels], prior[right, :levels], concordance)


def side_table(first: Array, second: Array, concordance: Array) -> Array:
    """(L, L, D) joint probability of the levels of two sides, with exactly these margins.

    (1 - k) * independent + k * as alike as the margins allow (the upper bound of Frechet), where
    k is the concordance, 0 to 1. first, second: (L, D) margins, levels in order of severity.
    """
    upper_first, upper_second = np.cumsum(first, axis=0), np.cumsum(second, axis=0)
    upper = np.minimum(upper_first[:, None], upper_second[None])
    lower = np.maximum((upper_first - first)[:, None], (upper_second - second)[None])
    alike = np.maximum(upper - lower, 0.0)
    return np.asarray((1.0 - concordance) * (first[:, None] * second[None]) + concordance * alike)
