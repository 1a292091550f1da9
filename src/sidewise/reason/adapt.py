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
from sidewise.reason.engine.evidence import Evidence

Array = NDArray[np.float64]
LEAST = 1e-300


def adapted(
    structure: engine.Structure,
    parameters: engine.Parameters,
    evidence: Evidence,
    rows: NDArray[np.intp],
    marginal: Array,
    seed: int,
) -> tuple[engine.Parameters, Array]:
    """Parameters with the draws of each reading seen chosen anew, and log m (D,) of each draw.

    rows: for each reading of the structure its row in the fit; readings of one row (the two
    sides) share their parameters and are chosen together. marginal: (V, Lmax) the conditions by
    the mean network, with all findings.
    """
    fits = _fits(structure, parameters, evidence, marginal)
    rng = np.random.default_rng(seed)
    link, leak = parameters.link.copy(), parameters.leak.copy()
    log_m = np.zeros(parameters.draws)
    seen = rows[list(evidence.readings)]
    for row in np.unique(seen):
        fit = np.multiply.reduce(fits[:, seen == row], axis=1)
        chosen = _systematic(fit, rng)
        log_m += np.log(fit[chosen])
        for reading in np.flatnonzero(rows == row):
            leak[:, reading] = parameters.leak[chosen, reading]
            columns = _columns(structure, int(reading))
            link[:, columns] = parameters.link[chosen, columns]
    return replace(parameters, link=link, leak=leak), log_m


def _fits(
    structure: engine.Structure, parameters: engine.Parameters, evidence: Evidence, marginal: Array
) -> Array:
    """(D, n) m of each reading seen: its likelihood with each parent at its present marginal."""
    readings = list(evidence.readings)
    absent = 1.0 - parameters.leak[:, readings]
    for place, reading in enumerate(readings):
        if not structure.parent_numbers[reading]:
            continue
        columns = _columns(structure, reading)
        arcs = _by_arc(structure, reading)
        there = np.concatenate(
            [
                marginal[variable, 1 : structure.levels[variable]]
                for variable in structure.parent_numbers[reading]
            ]
        )
        caused = np.add.reduceat(parameters.link[:, columns] * there, arcs, axis=1)
        absent[:, place] *= np.multiply.reduce(1.0 - caused, axis=1)
    found = evidence.absent[0] * absent + evidence.present[0] * (1.0 - absent)
    return np.asarray(np.maximum(found, LEAST))


def _columns(structure: engine.Structure, reading: int) -> slice:
    """The columns of all links of a reading, which lie side by side."""
    last = len(structure.parent_numbers[reading]) - 1
    return slice(
        structure.link_columns(reading, 0).start, structure.link_columns(reading, last).stop
    )


def _by_arc(structure: engine.Structure, reading: int) -> list[int]:
    """Where each parent's links begin among those of the reading."""
    first = structure.link_columns(reading, 0).start
    return [
        structure.link_columns(reading, position).start - first
        for position in range(len(structure.parent_numbers[reading]))
    ]


def _systematic(fit: Array, rng: np.random.Generator) -> NDArray[np.intp]:
    """(D,) draws chosen in proportion to `fit`, with the least noise, in random order."""
    count = len(fit)
    edges = np.cumsum(fit / fit.sum())
    edges[-1] = 1.0
    points = (rng.random() + np.arange(count)) / count
    return np.asarray(rng.permutation(np.searchsorted(edges, points)), dtype=np.intp)
