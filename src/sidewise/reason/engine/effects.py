"""How much each finding moved each condition: log odds with it minus log odds without it.

Each finding is taken away in turn and everything else kept, all in one batched elimination. The
effects do not add up to the whole change, because findings share causes and families.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.reason.engine.eliminate import Solution, solve, switches
from sidewise.reason.engine.evidence import Evidence
from sidewise.reason.engine.network import Array, Network

SMALLEST = 1e-15


@dataclass(frozen=True, eq=False)
class Effects:
    """Effect of each finding on each condition.

    readings: numbers of the readings, as in the evidence.
    log_odds: (n, V) log odds of the condition (any level) with the finding minus without it.
    without: (n, V) probability of the condition had the finding not been examined.
    together: (groups, V) likewise for each group of findings left out at once.
    posterior: (V,) with all findings. solution: the answer with all findings, one row.
    """

    readings: tuple[int, ...]
    log_odds: Array
    without: Array
    together: Array
    posterior: Array
    solution: Solution


def effects(network: Network, evidence: Evidence, groups: Sequence[Sequence[int]] = ()) -> Effects:
    """Effect of every finding of one record, under one set of parameters (`network.mean()`).

    groups: numbers of readings seen, to be left out together.
    """
    if network.draws != 1 or evidence.rows != 1:
        raise ValueError("effects are computed for one set of parameters and one record")
    place = {reading: column for column, reading in enumerate(evidence.readings)}
    left_out = [[reading] for reading in evidence.readings] + [list(group) for group in groups]
    absent = np.repeat(evidence.absent, len(left_out) + 1, axis=0)
    present = np.repeat(evidence.present, len(left_out) + 1, axis=0)
    for row, readings in enumerate(left_out, start=1):
        columns = [place[reading] for reading in readings]
        absent[row, columns] = present[row, columns] = 1.0
    what_ifs = Evidence(evidence.readings, absent, present)
    answer = solve(network, what_ifs, switched=switches(network, evidence))
    there = 1.0 - answer.marginal[:, :, 0]
    base = Solution(answer.marginal[:1], answer.log_evidence[:1])
    change = log_odds(there[0]) - log_odds(there[1:])
    alone = len(place)
    return Effects(
        evidence.readings, change[:alone], there[1 : alone + 1], change[alone:], there[0], base
    )


def log_odds(probability: Array) -> Array:
    """ln(p / (1 - p)), p held within 1e-15 of 0 and 1."""
    p = np.clip(probability, SMALLEST, 1.0 - SMALLEST)
    return np.asarray(np.log(p) - np.log1p(-p))
