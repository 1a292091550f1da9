"""How far findings moved each condition: one by one, and all of one kind together.

Effects are log odds with a finding minus log odds without it, everything else kept. Findings that
say the same thing stand in for one another, so each alone may seem to matter little; what they
mean together shows when all of one mechanism are left out at once. None of these add up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidewise.reason.engine.effects import effects
from sidewise.reason.engine.evidence import Evidence
from sidewise.reason.engine.network import Network

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Moved:
    """readings: (n,) numbers, with log_odds (n, V); groups likewise, of two findings or more.

    marginal: (V, Lmax) probability of each level with all findings.
    """

    readings: tuple[int, ...]
    log_odds: Array
    groups: tuple[tuple[str, str], ...]
    members: tuple[tuple[int, ...], ...]
    group_log_odds: Array
    marginal: Array


def moved(network: Network, evidence: Evidence) -> Moved:
    """Leave out each finding, and each mechanism of several, in one batched elimination.

    network: one set of parameters. evidence: one record.
    """
    grouped = _mechanisms(network, evidence)
    found = effects(network, evidence, tuple(grouped.values()))
    return Moved(
        readings=evidence.readings,
        log_odds=found.log_odds,
        groups=tuple(grouped),
        members=tuple(grouped.values()),
        group_log_odds=found.together,
        marginal=found.solution.marginal[0],
    )


def _mechanisms(network: Network, evidence: Evidence) -> dict[tuple[str, str], tuple[int, ...]]:
    """Readings seen of each mechanism that has two or more of them."""
    found: dict[tuple[str, str], tuple[int, ...]] = {}
    for number in evidence.readings:
        reading = network.structure.readings[number]
        if reading.family and reading.mechanism:
            key = (reading.family, reading.mechanism)
            found[key] = (*found.get(key, ()), number)
    return {key: mine for key, mine in found.items() if len(mine) > 1}
