"""The network in plain arrays: what depends on what (structure) and how strongly (parameters).

Conditions are variables with ordered levels, level 0 being "none". A reading is a noisy-OR of the
levels of its parents without the leak in the links:

    P(absent | levels) = (1 - leak) * product over parents (1 - q[level]),    q[0] = 0

This is the convention of Diez (1993, UAI, 99-105); in the other one (Henrion 1987) each weight
already contains the leak. Structure is checked once, by name; parameters are arrays whose leading
axis is the parameter draw (length D, or 1 where all draws agree).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sidewise.errors import UserError

Array = NDArray[np.float64]

MOST_PATTERNS = 32  # of links that are nought, remembered by a structure
MOST_RHO = 0.75  # rho_s + rho_m: beyond it 15 nodes no longer resolve a family


@dataclass(frozen=True, slots=True)
class Variable:
    """A condition (of one side, or of the whole person) with `levels` ordered levels."""

    name: str
    levels: int = 2

    def __post_init__(self) -> None:
        if self.levels < 2:
            raise UserError(f"variable {self.name}", self.levels, "at least two levels")


@dataclass(frozen=True, slots=True)
class Reading:
    """A finding that can be present or absent, its parents, and the family it belongs to.

    `family` names the structure on one side ("cuff_bursa.left"), `mechanism` the kind of sign
    within it. Both or neither are given.

    `core` are the parents through which the family's shared factors act; the leak is always among
    them. The other parents cause the finding on their own account, as in any noisy-OR. None: all
    parents. Choosing the family's own structures (the cuff for cuff signs) keeps cliques small.
    """

    name: str
    parents: tuple[str, ...]
    family: str | None = None
    mechanism: str | None = None
    core: tuple[str, ...] | None = None

    def __post_init__(self) -> None:
        if len(set(self.parents)) != len(self.parents):
            raise UserError(f"reading {self.name}", self.parents, "each parent once")
        if (self.family is None) != (self.mechanism is None):
            got = (self.family, self.mechanism)
            raise UserError(f"reading {self.name}", got, "a family and a mechanism, or neither")
        if self.core is not None and not set(self.core) <= set(self.parents):
            raise UserError(f"reading {self.name}", self.core, "core parents that are parents")


@dataclass(frozen=True, slots=True)
class SidePair:
    """The same condition on the left and on the right, which tend to go together."""

    left: str
    right: str


@dataclass(frozen=True, slots=True)
class Complaint:
    """A complaint known to be present: a noisy-OR of the conditions that hurt, and a leak."""

    name: str
    parents: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LiveParents:
    """For each reading its parents with a link: all (with position), of the core, and others."""

    linked: tuple[tuple[tuple[int, int], ...], ...]
    core: tuple[tuple[int, ...], ...]
    beside: tuple[tuple[int, ...], ...]


@dataclass(frozen=True)
class Structure:
    """What depends on what. Names are unique; links and complaint links have flat columns.

    `link_columns(r, p)` is the slice of `Parameters.link` that holds levels 1, 2, ... of parent
    `p` (its position among the parents) of reading number `r`; likewise `complaint_columns`.
    """

    variables: tuple[Variable, ...]
    readings: tuple[Reading, ...]
    pairs: tuple[SidePair, ...] = ()
    complaints: tuple[Complaint, ...] = ()
    _links: tuple[tuple[slice, ...], ...] = field(init=False, repr=False, compare=False)
    _complaint_links: tuple[tuple[slice, ...], ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        _unique("variables", [v.name for v in self.variables])
        _unique("readings", [r.name for r in self.readings])
        paired = [name for pair in self.pairs for name in (pair.left, pair.right)]
        _unique("pairs", paired)
        self._check_names(paired)
        self._check_pairs()
        object.__setattr__(self, "_links", self._slices(self.readings))
        object.__setattr__(self, "_complaint_links", self._slices(self.complaints))

    def _check_names(self, paired: Sequence[str]) -> None:
        known = {v.name for v in self.variables}
        used = [(reading.name, name) for reading in self.readings for name in reading.parents]
        used += [
            (complaint.name, name) for complaint in self.complaints for name in complaint.parents
        ]
        for place, name in [*used, *(("pairs", name) for name in paired)]:
            if name not in known:
                raise UserError(place, name, "the name of a variable of this network")

    def _check_pairs(self) -> None:
        for pair in self.pairs:
            left, right = (self.variables[self.variable_index[n]] for n in (pair.left, pair.right))
            if left.levels != right.levels:
                raise UserError(f"pair {pair.left}", right.levels, f"{left.levels} levels")

    def _slices(
        self, items: Sequence[Reading] | Sequence[Complaint]
    ) -> tuple[tuple[slice, ...], ...]:
        start, found = 0, []
        for item in items:
            mine = []
            for parent in item.parents:
                stop = start + self.levels[self.variable_index[parent]] - 1
                mine.append(slice(start, stop))
                start = stop
            found.append(tuple(mine))
        return tuple(found)

    @cached_property
    def variable_index(self) -> Mapping[str, int]:
        """Position of each variable by name."""
        return {v.name: i for i, v in enumerate(self.variables)}

    @cached_property
    def reading_index(self) -> Mapping[str, int]:
        """Position of each reading by name."""
        return {r.name: i for i, r in enumerate(self.readings)}

    @cached_property
    def levels(self) -> tuple[int, ...]:
        """Number of levels of each variable."""
        return tuple(v.levels for v in self.variables)

    @cached_property
    def families(self) -> tuple[str, ...]:
        """Names of the families, in order of first use: columns of the two rho arrays."""
        return tuple(dict.fromkeys(r.family for r in self.readings if r.family is not None))

    @cached_property
    def parent_numbers(self) -> tuple[tuple[int, ...], ...]:
        """Variable numbers of the parents of each reading."""
        return tuple(tuple(self.variable_index[p] for p in r.parents) for r in self.readings)

    @cached_property
    def complaint_parents(self) -> tuple[tuple[int, ...], ...]:
        """Variable numbers of the parents of each complaint."""
        return tuple(tuple(self.variable_index[p] for p in c.parents) for c in self.complaints)

    @cached_property
    def pair_numbers(self) -> tuple[tuple[int, int], ...]:
        """Variable numbers of each pair."""
        index = self.variable_index
        return tuple((index[p.left], index[p.right]) for p in self.pairs)

    @cached_property
    def first_arc(self) -> tuple[int, ...]:
        """Number of the first arc (parent of a reading, counted through) of each reading."""
        return tuple(np.cumsum([0, *(len(r.parents) for r in self.readings)]).tolist())

    @cached_property
    def first_complaint_arc(self) -> tuple[int, ...]:
        """The same for the complaints."""
        return tuple(np.cumsum([0, *(len(c.parents) for c in self.complaints)]).tolist())

    @cached_property
    def link_rows(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Arc and level of each column of `Parameters.link`."""
        return _arcs_and_levels(self._links)

    @cached_property
    def complaint_rows(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Arc and level of each column of `Parameters.complaint_link`."""
        return _arcs_and_levels(self._complaint_links)

    @cached_property
    def sorted_parents(self) -> dict[bytes, LiveParents]:
        """What `Network.linked` and its parts are, by which links are not nought: made once."""
        return {}

    @cached_property
    def first_link(self) -> tuple[dict[int, int], ...]:
        """For each reading the first column of `Parameters.link` of each of its parents."""
        return tuple(
            {v: columns.start for v, columns in zip(parents, mine, strict=True)}
            for parents, mine in zip(self.parent_numbers, self._links, strict=True)
        )

    @property
    def link_count(self) -> int:
        """Number of columns of `Parameters.link`."""
        return _stop(self._links)

    @property
    def complaint_link_count(self) -> int:
        """Number of columns of `Parameters.complaint_link`."""
        return _stop(self._complaint_links)

    def link_columns(self, reading: int, parent: int) -> slice:
        """Columns of `Parameters.link` for one parent (by position) of one reading."""
        return self._links[reading][parent]

    def complaint_columns(self, complaint: int, parent: int) -> slice:
        """Columns of `Parameters.complaint_link` for one parent of one complaint."""
        return self._complaint_links[complaint][parent]


@dataclass(frozen=True, eq=False)
class Parameters:
    """How strongly. Every array leads with the draw axis (D, or 1 where all draws agree).

    prior       (D, V, Lmax)  level probabilities, 0 beyond a variable's last level
    link        (D, link_count)  q in [0, 1]
    leak        (D, R)
    rho_structure, rho_mechanism  (D, F)  their sum at most 0.75; None: findings independent
    concordance (D, pairs)  0: sides independent, 1: as alike as the two margins allow
    complaint_link (D, complaint_link_count), complaint_leak (D, complaints)
    """

    prior: Array
    link: Array
    leak: Array
    rho_structure: Array | None = None
    rho_mechanism: Array | None = None
    concordance: Array | None = None
    complaint_link: Array | None = None
    complaint_leak: Array | None = None

    def arrays(self) -> Iterator[tuple[str, Array]]:
        """Name and value of each array that is given."""
        for name in self.__dataclass_fields__:
            value = getattr(self, name)
            if value is not None:
                yield name, value

    @cached_property
    def draws(self) -> int:
        """Number of draws: the longest leading axis."""
        return max(len(value) for _, value in self.arrays())

    def mean(self) -> Parameters:
        """One set of parameters: the mean of the draws."""
        return Parameters(**{n: v.mean(axis=0, keepdims=True) for n, v in self.arrays()})

    def take(self, draws: NDArray[np.intp] | slice) -> Parameters:
        """Some of the draws, in the order asked."""
        return Parameters(**{n: v if len(v) == 1 else v[draws] for n, v in self.arrays()})


@dataclass(frozen=True, eq=False)
class Network:
    """A structure and its parameters, checked against each other."""

    structure: Structure
    parameters: Parameters
    cache: dict[str, Any] = field(default_factory=dict, init=False, repr=False)

    def __post_init__(self) -> None:
        _check_shapes(self.structure, self.parameters)
        _check_values(self.structure, self.parameters)

    @cached_property
    def draws(self) -> int:
        """Number of parameter draws."""
        return self.parameters.draws

    def mean(self) -> Network:
        """The same network with the mean of the draws as its only parameters."""
        return Network(self.structure, self.parameters.mean())

    def take(self, draws: NDArray[np.intp] | slice) -> Network:
        """The same network with some of the draws."""
        return Network(self.structure, self.parameters.take(draws))

    @cached_property
    def by_column(self) -> Mapping[str, Array]:
        """Parameters with the draw axis last and contiguous, as the elimination wants them."""
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
        """For each reading the (variable, position) of parents whose link is not nought.

        A link of nought in every draw would only widen cliques.
        """
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
        live = np.asarray(self.parameters.link.any(axis=0))
        known, key = self.structure.sorted_parents, live.tobytes()
        if key not in known:
            if len(known) >= MOST_PATTERNS:
                known.clear()
            known[key] = _live_parents(self.structure, live)
        return known[key]

    @cached_property
    def paired(self) -> tuple[int, ...]:
        """Pairs whose concordance is not nought in some draw."""
        if self.parameters.concordance is None:
            return ()
        return tuple(int(i) for i in np.flatnonzero(self.parameters.concordance.any(axis=0)))


def _live_parents(structure: Structure, live: NDArray[np.bool_]) -> LiveParents:
    linked = tuple(
        tuple(
            (variable, position)
            for position, variable in enumerate(parents)
            if live[structure.link_columns(reading, position)].any()
        )
        for reading, parents in enumerate(structure.parent_numbers)
    )
    core, beside = (
        tuple(_sorted_out(structure, reading, mine, inside) for reading, mine in enumerate(linked))
        for inside in (True, False)
    )
    return LiveParents(linked, core, beside)


def _sorted_out(
    structure: Structure, reading: int, linked: tuple[tuple[int, int], ...], inside: bool
) -> tuple[int, ...]:
    known = structure.readings[reading]
    chosen = known.parents if known.core is None else known.core
    names = structure.variables
    return tuple(v for v, _ in linked if (names[v].name in chosen) is inside)


def independent(network: Network) -> Network:
    """The same network with findings independent given the conditions (both rho nought)."""
    kept = {n: v for n, v in network.parameters.arrays() if not n.startswith("rho")}
    return Network(network.structure, Parameters(**kept))


def _arcs_and_levels(
    slices: tuple[tuple[slice, ...], ...],
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    arcs = [part for mine in slices for part in mine]
    pairs = [(a, 1 + k) for a, part in enumerate(arcs) for k in range(part.stop - part.start)]
    table = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _kept(rows: tuple[NDArray[np.intp], NDArray[np.intp]], links: Array, levels: int) -> Array:
    arcs, level = rows
    kept = np.ones((int(arcs[-1]) + 1 if len(arcs) else 0, levels, links.shape[-1]))
    kept[arcs, level] -= links
    return kept


def _stop(slices: tuple[tuple[slice, ...], ...]) -> int:
    ends = [part.stop for mine in slices for part in mine]
    return int(ends[-1]) if ends else 0


def _unique(place: str, names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise UserError(place, name, "each name once")
        seen.add(name)


def _widths(structure: Structure) -> dict[str, tuple[int, ...]]:
    families, pairs = len(structure.families), len(structure.pairs)
    return {
        "prior": (len(structure.variables), max(structure.levels)),
        "link": (structure.link_count,),
        "leak": (len(structure.readings),),
        "rho_structure": (families,),
        "rho_mechanism": (families,),
        "concordance": (pairs,),
        "complaint_link": (structure.complaint_link_count,),
        "complaint_leak": (len(structure.complaints),),
    }


def _check_shapes(structure: Structure, parameters: Parameters) -> None:
    widths, draws = _widths(structure), parameters.draws
    for name, value in parameters.arrays():
        if value.shape[1:] != widths[name] or len(value) not in (1, draws):
            raise UserError(f"parameters.{name}", value.shape, f"({draws} or 1, *{widths[name]})")
    if structure.complaints and (
        parameters.complaint_link is None or parameters.complaint_leak is None
    ):
        raise UserError("parameters.complaint_link", None, "links and leak of each complaint")
    if (parameters.rho_structure is None) != (parameters.rho_mechanism is None):
        raise UserError("parameters.rho_mechanism", None, "both rho arrays or neither")


def _check_values(structure: Structure, parameters: Parameters) -> None:
    for name, value in parameters.arrays():
        # A comparison with NaN is False, so NaN fails here too.
        if not (value.size == 0 or (value.min() >= 0.0 and value.max() <= 1.0)):
            bad = value[~((value >= 0) & (value <= 1))].flat[0]
            raise UserError(f"parameters.{name}", float(bad), "numbers from 0 to 1")
    total = parameters.prior.sum(axis=-1)
    if not np.allclose(total, 1.0, atol=1e-9):
        worst = int(np.abs(total - 1.0).max(axis=0).argmax())
        place = f"prior of {structure.variables[worst].name}"
        raise UserError(place, float(total[:, worst].max()), "levels that sum to 1")
    levels = np.asarray(structure.levels)
    beyond = np.arange(parameters.prior.shape[-1]) >= levels[:, None]
    if parameters.prior[:, beyond].any():
        raise UserError("parameters.prior", "weight beyond the last level", "nought there")
    _check_rho(parameters)


def _check_rho(parameters: Parameters) -> None:
    if parameters.rho_structure is None or parameters.rho_mechanism is None:
        return
    total = parameters.rho_structure + parameters.rho_mechanism
    if total.size and total.max() > MOST_RHO + 1e-12:
        raise UserError("rho_structure + rho_mechanism", float(total.max()), f"at most {MOST_RHO}")
