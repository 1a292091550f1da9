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

from dataclasses import dataclass, replace
from itertools import chain, pairwise

import numpy as np

from sidewise import network as engine
from sidewise.ground.arrays import Array, IndexArray
from sidewise.network import Evidence

LEAST = 1e-300


def adapt_draws(
    structure: engine.Structure,
    parameters: engine.Parameters,
    evidence: Evidence,
    rows: IndexArray,
    marginal: Array,
    seed: int,
    *,
    given_away: bool = False,
) -> tuple[engine.Parameters, Array]:
    """Parameters with the draws of each reading seen chosen anew, and log m (D,) of each draw.

    rows: for each reading of the structure its row in the fit; readings of one row (the two
    sides) share their parameters and are chosen together. marginal: (V, Lmax) the conditions by
    the mean network, with all findings. given_away: links and leaks may be written to, which saves
    fresh memory, and that is most of the time.
    """
    if not evidence.readings:
        return parameters, np.zeros(parameters.draws)
    arcs = _Arcs.of(structure)
    # The conditions as the mean network has them: a rough guess of them is enough, since whatever m
    # leaves unexplained is made up for by the weights.
    fits = _fits(arcs, parameters, evidence, marginal)
    seen = rows[list(evidence.readings)]
    order = np.argsort(seen, kind="stable")
    chosen_rows, first = np.unique(seen[order], return_index=True)
    # Both sides of one reading share its parameters, and so must share the draw that is chosen.
    fit = np.multiply.reduceat(fits[order], first, axis=0)
    chosen = _systematic(fit, np.random.default_rng(seed))
    which = np.full(1 + max(rows.max(), seen.max()), -1)
    which[chosen_rows] = np.arange(len(chosen_rows))
    log_m = np.log(np.take_along_axis(fit, chosen, axis=1)).sum(axis=0)
    link, leak = (
        values.T if given_away else np.array(values.T, order="C")
        for values in (parameters.link, parameters.leak)
    )
    _redraw(link, which[rows[arcs.reading_of_link]], chosen)
    _redraw(leak, which[rows], chosen)
    return replace(parameters, link=link.T, leak=leak.T), np.asarray(log_m)


@dataclass(frozen=True, eq=False)
class _Arcs:
    """Of every arc (a reading and one of its parents) and link (an arc's level), in order.

    reading (arcs,): of the arc; arc, variable, level (links,): of the link.
    """

    reading: IndexArray
    arc: IndexArray
    variable: IndexArray
    level: IndexArray

    @classmethod
    def of(cls, structure: engine.Structure) -> _Arcs:
        """Those of a structure."""
        arc, level = structure.link_rows
        reading = np.repeat(np.arange(len(structure.readings)), np.diff(structure.first_arc))
        parents = np.fromiter(chain.from_iterable(structure.parent_numbers), dtype=np.intp)
        return cls(reading, arc, parents[arc], level)

    @property
    def reading_of_link(self) -> IndexArray:
        """(links,) reading of each link."""
        return self.reading[self.arc]


def _fits(arcs: _Arcs, parameters: engine.Parameters, evidence: Evidence, marginal: Array) -> Array:
    """(n, D) m of each reading seen: its likelihood with each parent at its present marginal."""
    readings = np.asarray(evidence.readings)
    absent = 1.0 - parameters.leak.T[readings]
    links = np.flatnonzero(np.isin(arcs.reading_of_link, readings))
    if len(links):
        caused = parameters.link.T[links]
        caused *= marginal[arcs.variable[links], arcs.level[links]][:, None]
        arc, of_arc = np.unique(arcs.arc[links], return_index=True)
        spared = 1.0 - np.add.reduceat(caused, of_arc, axis=0)
        reading, of_reading = np.unique(arcs.reading[arc], return_index=True)
        place = np.searchsorted(readings, reading)
        absent[place] *= np.multiply.reduceat(spared, of_reading, axis=0)
    none, some = evidence.absent[0][:, None], evidence.present[0][:, None]
    return np.asarray(np.maximum(none * absent + some * (1.0 - absent), LEAST))


def _systematic(fit: Array, rng: np.random.Generator) -> IndexArray:
    """(n, D) draws chosen in proportion to each row of `fit`, with the least noise, in random
    order."""
    # Chosen one by one, some would come too often and others not at all; evenly spaced places hit
    # each as often as its share says. In random order, or draws of two readings would go together.
    count = fit.shape[1]
    edges = np.cumsum(fit / fit.sum(axis=1, keepdims=True), axis=1)
    # A running sum may end a last digit below one, and a place beyond it has no draw.
    edges[:, -1] = 1.0
    steps = np.arange(count)
    return np.stack(
        [rng.permutation(np.searchsorted(mine, (rng.random() + steps) / count)) for mine in edges]
    )


def _redraw(values: Array, which: IndexArray, chosen: IndexArray) -> None:
    """Rows of `values` (n, D) get the draws of the row of `chosen` that `which` says; -1: as is.

    Neighbours that share their draws go together.
    """
    edges = [0, *(np.flatnonzero(np.diff(which)) + 1), len(which)]
    for start, stop in pairwise(edges):
        if which[start] >= 0:
            values[start:stop] = values[start:stop].take(chosen[which[start]], axis=1)
