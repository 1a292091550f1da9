"""What depends on what: conditions, readings, families, side pairs and complaints, by name.

Conditions are variables with ordered levels, level 0 being "none". Names are checked once, here;
everything after works with their numbers.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import BoolArray, IndexArray

MOST_PATTERNS = 32  # of links that are zero, remembered by a structure


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
    """For each reading its parents with a link: all (with position), of the core, and others.

    Only these join anything: a link of zero in every draw would only widen cliques.
    """

    linked: tuple[tuple[tuple[int, int], ...], ...]
    core: tuple[tuple[int, ...], ...]
    beside: tuple[tuple[int, ...], ...]


class CoreLinks(NamedTuple):
    """Of each link (L,) its reading, and the number of parents in its family's core; 0 outside."""

    reading: IndexArray
    sharing: IndexArray


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
    def link_rows(self) -> tuple[IndexArray, IndexArray]:
        """Arc and level of each column of `Parameters.link`."""
        return _arcs_and_levels(self._links)

    @cached_property
    def core_links(self) -> CoreLinks:
        """Of each column of `Parameters.link` its reading, and how many share its family's core."""
        reading, count = [], []
        for number, known in enumerate(self.readings):
            core = known.parents if known.core is None else known.core
            inside = () if known.family is None else core
            for parent, columns in zip(known.parents, self._links[number], strict=True):
                many = columns.stop - columns.start
                reading += [number] * many
                count += [len(inside) if parent in inside else 0] * many
        return CoreLinks(np.array(reading, dtype=np.intp), np.array(count, dtype=np.intp))

    @cached_property
    def complaint_rows(self) -> tuple[IndexArray, IndexArray]:
        """Arc and level of each column of `Parameters.complaint_link`."""
        return _arcs_and_levels(self._complaint_links)

    @cached_property
    def _live_parents(self) -> dict[bytes, LiveParents]:
        return {}

    def live_parents(self, live: BoolArray) -> LiveParents:
        """Parents with a link, `live` (link_count,) saying which links are not zero.

        Remembered by pattern: records of one setting share theirs, and sorting two thousand arcs
        in Python would cost more than the sums.
        """
        known, key = self._live_parents, live.tobytes()
        if key not in known:
            if len(known) >= MOST_PATTERNS:
                known.clear()
            known[key] = _live_parents(self, live)
        return known[key]

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


def _live_parents(structure: Structure, live: BoolArray) -> LiveParents:
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


def _arcs_and_levels(
    slices: tuple[tuple[slice, ...], ...],
) -> tuple[IndexArray, IndexArray]:
    arcs = [part for mine in slices for part in mine]
    pairs = [(a, 1 + k) for a, part in enumerate(arcs) for k in range(part.stop - part.start)]
    table = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _stop(slices: tuple[tuple[slice, ...], ...]) -> int:
    ends = [part.stop for mine in slices for part in mine]
    return int(ends[-1]) if ends else 0


def _unique(place: str, names: Sequence[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise UserError(place, name, "each name once")
        seen.add(name)
