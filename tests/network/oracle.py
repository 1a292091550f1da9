"""Slow and obvious: sums over every state of the conditions, and random networks to try it on."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from sidewise.network import (
    Complaint,
    Evidence,
    Network,
    Parameters,
    Reading,
    SidePair,
    Structure,
    Variable,
)
from sidewise.network.joint_tables import side_table


@dataclass(frozen=True)
class Exact:
    """Marginals (V, Lmax) and log evidence of one record under one set of parameters."""

    marginal: np.ndarray
    log_evidence: float


def gauss_hermite(nodes: int) -> tuple[np.ndarray, np.ndarray]:
    """Nodes and weights for a standard normal."""
    x, w = np.polynomial.hermite_e.hermegauss(nodes)
    return x, w / w.sum()


def dense(nodes: int = 121, half: float = 8.0) -> tuple[np.ndarray, np.ndarray]:
    """A very fine equally spaced rule for a standard normal."""
    x = np.linspace(-half, half, nodes)
    w = np.exp(-x * x / 2)
    return x, w / w.sum()


def state_prior(network: Network, state: tuple[int, ...]) -> float:
    structure, p = network.structure, network.parameters
    value = 1.0
    paired = set()
    for number, (left, right) in enumerate(structure.pair_numbers):
        paired |= {left, right}
        levels = structure.levels[left]
        table = side_table(
            p.prior[0, left, :levels, None],
            p.prior[0, right, :levels, None],
            p.concordance[0, number : number + 1],
        )[..., 0]
        value *= table[state[left], state[right]]
    for v, level in enumerate(state):
        if v not in paired:
            value *= p.prior[0, v, level]
    return value * complaint_probability(network, state)


def complaint_probability(network: Network, state: tuple[int, ...]) -> float:
    structure, p = network.structure, network.parameters
    value = 1.0
    for number, parents in enumerate(structure.complaint_parents):
        none = 1 - p.complaint_leak[0, number]
        for position, v in enumerate(parents):
            if state[v]:
                column = structure.complaint_columns(number, position).start + state[v] - 1
                none *= 1 - p.complaint_link[0, column]
        value *= 1 - none
    return value


def present_probability(
    network: Network, reading: int, state: tuple[int, ...], parents=None, leak=True
) -> float:
    """By the leak (or without it) and these parents' names; all of them by default."""
    structure, p = network.structure, network.parameters
    absent = 1 - p.leak[0, reading] if leak else 1.0
    for position, v in enumerate(structure.parent_numbers[reading]):
        if parents is not None and structure.variables[v].name not in parents:
            continue
        if state[v]:
            column = structure.link_columns(reading, position).start + state[v] - 1
            absent *= 1 - p.link[0, column]
    return 1 - absent


def likelihood(network: Network, evidence: Evidence, row: int, state, rule) -> float:
    """P(observations | state): families by a nested double sum over z and u."""
    structure, p = network.structure, network.parameters
    families: dict[str, list[int]] = {}
    value = 1.0
    for column, reading in enumerate(evidence.readings):
        family = structure.readings[reading].family
        key = family if family is not None and p.rho_structure is not None else f"lone {column}"
        families.setdefault(key, []).append(column)
    for columns in families.values():
        value *= _group(network, evidence, row, state, columns, rule)
    return value


def _group(network, evidence, row, state, columns, rule) -> float:
    structure, p = network.structure, network.parameters
    prob = {c: present_probability(network, evidence.readings[c], state) for c in columns}
    core, beside = _split(network, evidence, columns, state)
    w0, w1 = evidence.absent[row], evidence.present[row]
    if len(columns) == 1:
        (c,) = columns
        return w0[c] * (1 - prob[c]) + w1[c] * prob[c]
    number = structure.families.index(structure.readings[evidence.readings[columns[0]]].family)
    rs, rm = p.rho_structure[0, number], p.rho_mechanism[0, number]
    x, w = rule
    by_mechanism: dict[str, list[int]] = {}
    for c in columns:
        by_mechanism.setdefault(structure.readings[evidence.readings[c]].mechanism, []).append(c)
    total = w.copy()
    latent = np.sqrt(rs) * x[:, None] + np.sqrt(rm) * x[None]
    for members in by_mechanism.values():
        inner = np.ones_like(latent)
        for c in members:
            q = ndtr((ndtri(core[c]) + latent) / np.sqrt(1 - rs - rm))
            q = 1 - (1 - q) * (1 - beside[c])
            inner *= w0[c] * (1 - q) + w1[c] * q
        total = total * (inner @ w)
    return float(total.sum())


def _split(network, evidence, columns, state) -> tuple[dict, dict]:
    """Probability by the leak and the core parents, and by the parents beside them."""
    core, beside = {}, {}
    for c in columns:
        known = network.structure.readings[evidence.readings[c]]
        inside = known.parents if known.core is None else known.core
        outside = set(known.parents) - set(inside)
        core[c] = present_probability(network, evidence.readings[c], state, inside)
        beside[c] = present_probability(network, evidence.readings[c], state, outside, leak=False)
    return core, beside


def brute_force(network: Network, evidence: Evidence, row: int = 0, rule=None) -> Exact:
    """Sum over all states; exact at rho = 0, by the given rule in families."""
    rule = rule or dense()
    levels = network.structure.levels
    marginal = np.zeros((len(levels), max(levels)))
    before = after = 0.0
    for state in itertools.product(*(range(n) for n in levels)):
        prior = state_prior(network, state)
        value = prior * likelihood(network, evidence, row, state, rule)
        before += prior
        after += value
        for v, level in enumerate(state):
            marginal[v, level] += value
    return Exact(marginal / after, float(np.log(after / before)))


def random_network(
    rng: np.random.Generator,
    *,
    sides: int = 3,
    persons: int = 1,
    findings: int = 8,
    most_levels: int = 3,
    most_parents: int = 3,
    families: bool = True,
    pairs: bool = True,
    complaints: int = 0,
    draws: int = 1,
) -> Network:
    """A random two-sided network: `sides` conditions a side, `findings` readings a side."""
    levels = rng.integers(2, most_levels + 1, sides).tolist()
    variables = [Variable(f"c{i}.{s}", levels[i]) for s in "lr" for i in range(sides)]
    variables += [Variable(f"p{i}") for i in range(persons)]
    readings = [
        _random_reading(rng, f"f{i}.{s}", s, sides, persons, most_parents, families)
        for s in "lr"
        for i in range(findings)
    ]
    both = [SidePair(f"c{i}.l", f"c{i}.r") for i in range(sides)] if pairs else []
    hurts = [
        Complaint(f"complaint.{s}", tuple(f"c{i}.{s}" for i in range(sides)))
        for s in "lr"[:complaints]
    ]
    structure = Structure(tuple(variables), tuple(readings), tuple(both), tuple(hurts))
    return Network(structure, random_parameters(rng, structure, draws))


def _random_reading(rng, name, side, sides, persons, most_parents, families) -> Reading:
    pool = [f"c{i}.{side}" for i in range(sides)] + [f"p{i}" for i in range(persons)]
    count = int(rng.integers(1, min(most_parents, len(pool)) + 1))
    parents = tuple(rng.choice(pool, size=count, replace=False).tolist())
    if not families or rng.random() < 0.25:
        return Reading(name, parents)
    # Some families act through all parents, some through a few, some through the leak alone.
    core = None if rng.random() < 0.4 else parents[: int(rng.integers(count + 1))]
    return Reading(name, parents, f"fam{rng.integers(2)}.{side}", f"m{rng.integers(3)}", core)


def random_parameters(rng: np.random.Generator, structure: Structure, draws: int) -> Parameters:
    prior = np.zeros((draws, len(structure.levels), max(structure.levels)))
    for v, n in enumerate(structure.levels):
        prior[:, v, :n] = rng.dirichlet([6.0, *[1.0] * (n - 1)], draws)
    families = len(structure.families)
    share = rng.uniform(0.1, 0.9, (draws, families))
    total = rng.uniform(0.1, 0.6, (draws, families))
    return Parameters(
        prior=prior,
        link=rng.uniform(0.1, 0.95, (draws, structure.link_count)),
        leak=rng.uniform(0.01, 0.25, (draws, len(structure.readings))),
        rho_structure=total * share if families else None,
        rho_mechanism=total * (1 - share) if families else None,
        concordance=rng.uniform(0, 0.6, (draws, len(structure.pairs))),
        complaint_link=rng.uniform(0.3, 0.98, (draws, structure.complaint_link_count)),
        complaint_leak=rng.uniform(0.05, 0.3, (draws, len(structure.complaints))),
    )


def random_findings(rng: np.random.Generator, structure: Structure, seen: int) -> dict:
    """Observations of `seen` readings: present, absent, now and then soft."""
    chosen = rng.choice(len(structure.readings), size=seen, replace=False)
    values = [bool(rng.random() < 0.5) if rng.random() < 0.9 else (0.7, 0.2) for _ in chosen]
    return {structure.readings[i].name: v for i, v in zip(chosen, values, strict=True)}
