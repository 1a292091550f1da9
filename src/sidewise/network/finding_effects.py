"""How much each finding moved each condition: log odds with it minus log odds without it.

Each finding is taken away in turn and everything else kept, all in one batched elimination. The
effects do not add up to the whole change, because findings share causes and families. Findings that
say the same thing stand in for one another, so that each alone may seem to matter little; what they
mean together shows when all of one mechanism are left out at once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.network.elimination import solve
from sidewise.network.evidence import Evidence
from sidewise.network.model import Network
from sidewise.network.structure import Structure
from sidewise.network.switches import switches

SMALLEST = 1e-15

Mechanism = tuple[str, str]
"""Family and mechanism."""


@dataclass(frozen=True, eq=False)
class Effects:
    """Effect of each finding, and of each group of findings, on each condition.

    readings: (n,) numbers of the readings, as in the evidence.
    log_odds: (n, V) log odds of the condition (any level) with the finding minus without it.
    without: (n, V) probability of the condition had the finding not been examined.
    groups: name and readings of each group; together: (groups, V) as log_odds, all of a group
    left out at once.
    posterior: (V,) with all findings. marginal: (V, L) likewise, of each level.
    """

    readings: tuple[int, ...]
    log_odds: Array
    without: Array
    groups: Mapping[Mechanism, tuple[int, ...]]
    together: Array
    posterior: Array
    marginal: Array


def mechanisms_seen(structure: Structure, evidence: Evidence) -> dict[Mechanism, tuple[int, ...]]:
    """Readings seen of each mechanism of which two or more were seen."""
    found: dict[Mechanism, tuple[int, ...]] = {}
    for number in evidence.readings:
        reading = structure.readings[number]
        if reading.family and reading.mechanism:
            key = (reading.family, reading.mechanism)
            found[key] = (*found.get(key, ()), number)
    return {key: mine for key, mine in found.items() if len(mine) > 1}


def effects(
    network: Network,
    evidence: Evidence,
    groups: Mapping[Mechanism, tuple[int, ...]] | None = None,
) -> Effects:
    """Effect of every finding of one record, under one set of parameters (`network.mean()`).

    groups: readings seen that are to be left out together, such as `mechanisms_seen`.
    """
    if network.draws != 1 or evidence.rows != 1:
        raise ValueError("effects are computed for one set of parameters and one record")
    groups = groups or {}
    alone = len(evidence.readings)
    left_out = [*((reading,) for reading in evidence.readings), *groups.values()]
    # The switches of the whole record serve every row: a row has no more findings than it.
    answer = solve(network, _without(evidence, left_out), switched=switches(network, evidence))
    there = 1.0 - answer.marginal[:, :, 0]
    change = log_odds(there[0]) - log_odds(there[1:])
    return Effects(
        readings=evidence.readings,
        log_odds=change[:alone],
        without=there[1 : alone + 1],
        groups=groups,
        together=change[alone:],
        posterior=there[0],
        marginal=answer.marginal[0],
    )


def _without(evidence: Evidence, left_out: Sequence[Sequence[int]]) -> Evidence:
    """The record itself in row 0, then a row for each of `left_out`, which says nothing of it."""
    place = {reading: column for column, reading in enumerate(evidence.readings)}
    absent = np.repeat(evidence.absent, len(left_out) + 1, axis=0)
    present = np.repeat(evidence.present, len(left_out) + 1, axis=0)
    for row, readings in enumerate(left_out, start=1):
        columns = [place[reading] for reading in readings]
        absent[row, columns] = present[row, columns] = 1.0
    return Evidence(evidence.readings, absent, present)


def log_odds(probability: Array) -> Array:
    """ln(p / (1 - p)), p held within 1e-15 of 0 and 1."""
    p = np.clip(probability, SMALLEST, 1.0 - SMALLEST)
    return np.asarray(np.log(p) - np.log1p(-p))
