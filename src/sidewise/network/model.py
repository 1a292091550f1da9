"""A structure with its parameters, and what the eliminations read from both again and again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from sidewise.ground.arrays import Array, IndexArray
from sidewise.network.parameters import Parameters, check_parameters, lowest_links
from sidewise.network.structure import LiveParents, Structure


@dataclass(frozen=True, eq=False)
class Network:
    """A structure and its parameters, checked against each other."""

    structure: Structure
    parameters: Parameters
    cache: dict[str, Any] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        check_parameters(self.structure, self.parameters)

    @cached_property
    def draws(self) -> int:
        """Number of parameter draws."""
        return self.parameters.draws

    def mean(self) -> Network:
        """The same network with the mean of the draws as its only parameters."""
        # The mean of leaks allows a little less below zero than the leaks did one by one.
        mean = self.parameters.mean()
        least = lowest_links(self.structure, mean.leak)
        return Network(self.structure, replace(mean, link=np.maximum(mean.link, least)))

    def take(self, draws: IndexArray | slice) -> Network:
        """The same network with some of the draws."""
        return Network(self.structure, self.parameters.take(draws))

    @cached_property
    def by_column(self) -> Mapping[str, Array]:
        """Parameters with the draw axis last and contiguous, as the elimination wants them."""
        # numpy's inner loops run along the last axis, and the draws are the longest.
        return {
            name: np.ascontiguousarray(np.moveaxis(value, 0, -1))
            for name, value in self.parameters.arrays()
        }

    @cached_property
    def kept(self) -> Array:
        """(arcs, Lmax, D) 1 - q by arc and level of the parent; ones at level 0."""
        return _kept(self.structure.link_rows, self.by_column["link"], max(self.structure.levels))

    @cached_property
    def complaint_kept(self) -> Array:
        """The same for the arcs into the complaints."""
        links = self.by_column["complaint_link"]
        return _kept(self.structure.complaint_rows, links, max(self.structure.levels))

    @cached_property
    def kept_by_variable(self) -> Array:
        """(R, V, Lmax, D) 1 - q by reading: only for a single set of parameters, being large."""
        structure = self.structure
        shape = (len(structure.readings), len(structure.variables), *self.kept.shape[1:])
        table = np.ones(shape)
        for reading, parents in enumerate(structure.parent_numbers):
            start = structure.first_arc[reading]
            table[reading, list(parents)] = self.kept[start : start + len(parents)]
        return table

    @cached_property
    def linked(self) -> tuple[tuple[tuple[int, int], ...], ...]:
        """For each reading the (variable, position) of parents with a link in some draw."""
        return self._parents.linked

    @cached_property
    def core(self) -> tuple[tuple[int, ...], ...]:
        """Variables of `linked` through which a reading's family acts."""
        return self._parents.core

    @cached_property
    def beside(self) -> tuple[tuple[int, ...], ...]:
        """Variables of `linked` that cause a reading beside its family."""
        return self._parents.beside

    @cached_property
    def _parents(self) -> LiveParents:
        return self.structure.live_parents(np.asarray(self.parameters.link.any(axis=0)))

    @cached_property
    def paired(self) -> tuple[int, ...]:
        """Pairs whose concordance is not zero in some draw."""
        if self.parameters.concordance is None:
            return ()
        return tuple(int(i) for i in np.flatnonzero(self.parameters.concordance.any(axis=0)))


def independent(network: Network) -> Network:
    """The same network with findings independent given the conditions (both rho zero)."""
    kept = {n: v for n, v in network.parameters.arrays() if not n.startswith("rho")}
    return Network(network.structure, Parameters(**kept))


def _kept(rows: tuple[IndexArray, IndexArray], links: Array, levels: int) -> Array:
    arcs, level = rows
    kept = np.ones((int(arcs[-1]) + 1 if len(arcs) else 0, levels, links.shape[-1]))
    kept[arcs, level] -= links
    return kept
