"""Parameter draws that suit the findings, and the weights that make up for choosing them.

A draw of the parameters counts by the probability it gives to the findings. A full examination
has a hundred readings; among draws made without regard to them a handful would carry all the
weight. But the parameters of different readings are independent beforehand, so each reading's
draws may be chosen anew, in proportion to how well they explain that reading alone,

    m(draw) = P(what was seen of the reading | draw, conditions as they stand by the mean network),

and the whole draw is then weighted by P(findings | draw) / product of m. This is importance
sampling (e.g. Owen, Monte Carlo theory, methods and examples, 2013, chapter 9): the answer is the
same, and many more draws count. Where conditions were certain and findings independent given
them, every draw would count alike.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sidewise.reason.engine import network as engine
from sidewise.reason.engine.eliminate import solve
from sidewise.reason.engine.evidence import Evidence

Array = NDArray[np.float64]
LEAST = 1e-300


def adapted(
    structure: engine.Structure,
    parameters: engine.Parameters,
    evidence: Evidence,
    rows: NDArray[np.intp],
    seed: int,
) -> tuple[engine.Parameters, Array]:
    """Parameters with the draws of each reading seen chosen anew, and log m (D,) of each draw.

    rows: for each reading of the structure its row in the fit; readings of one row (the two
    sides) share their parameters and are chosen together.
    """
    network = engine.Network(structure, parameters)
    marginal = solve(network.mean(), evidence).marginal[0]
    fits = {
        reading: _fit(network, evidence, place, reading, marginal)
        for place, reading in enumerate(evidence.readings)
    }
    rng = np.random.default_rng(seed)
    link, leak = parameters.link.copy(), parameters.leak.copy()
    log_m = np.zeros(network.draws)
    for row in np.unique(rows[list(evidence.readings)]):
        mine = [reading for reading in evidence.readings if rows[reading] == row]
        fit = np.multiply.reduce([fits[reading] for reading in mine])
        chosen = _systematic(fit, rng)
        log_m += np.log(fit[chosen])
        for reading in np.flatnonzero(rows == row):
            leak[:, reading] = parameters.leak[chosen, reading]
            columns = _columns(structure, int(reading))
            link[:, columns] = parameters.link[np.ix_(chosen, columns)]
    return replace(parameters, link=link, leak=leak), log_m


def _fit(
    network: engine.Network, evidence: Evidence, place: int, reading: int, marginal: Array
) -> Array:
    """(D,) m of one reading: its likelihood with each parent at its present marginal."""
    structure, parameters = network.structure, network.parameters
    absent = 1.0 - parameters.leak[:, reading]
    for position, variable in enumerate(structure.parent_numbers[reading]):
        columns = structure.link_columns(reading, position)
        there = marginal[variable, 1 : structure.levels[variable]]
        absent = absent * (1.0 - parameters.link[:, columns] @ there)
    if_absent, if_present = evidence.absent[0, place], evidence.present[0, place]
    return np.asarray(np.maximum(if_absent * absent + if_present * (1.0 - absent), LEAST))


def _columns(structure: engine.Structure, reading: int) -> NDArray[np.intp]:
    parts = [
        structure.link_columns(reading, position)
        for position in range(len(structure.parent_numbers[reading]))
    ]
    return np.concatenate([np.arange(part.start, part.stop) for part in parts])


def _systematic(fit: Array, rng: np.random.Generator) -> NDArray[np.intp]:
    """(D,) draws chosen in proportion to `fit`, with the least noise, in random order."""
    count = len(fit)
    edges = np.cumsum(fit / fit.sum())
    edges[-1] = 1.0
    points = (rng.random() + np.arange(count)) / count
    return np.asarray(rng.permutation(np.searchsorted(edges, points)), dtype=np.intp)
