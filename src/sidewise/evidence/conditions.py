"""Conditions and families of a region: what the network is about, as checked data."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Literal

from pydantic import Field, model_validator

from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region


class LinkPrior(Frozen):
    """Prior of the logit of a measured link, where something is known about all signs together."""

    mean: float
    sd: float = Field(gt=0)


class Condition(Frozen):
    """One condition: of one side or of the whole person, with ordered levels, or a flag only.

    pain_alone_weakens: where the first level is pain without damage, the prior of the link from it
    to weakness, lag and wasting, a cause apart from the damage of the higher levels.
    """

    id: str
    label: str
    scope: Literal["side", "person"]
    flag_only: bool = False
    levels: tuple[str, ...] = ()
    painful: bool = False
    painless_possible: bool = False
    structure_family: str | None = None
    defined_by_sign: str = ""
    complaint_link: tuple[float, ...] = ()
    concordance: float = Field(default=0.0, ge=0, le=1)
    measured_link_prior: LinkPrior | None = None
    pain_alone_weakens: LinkPrior | None = None
    note: str = ""
    basis: tuple[Provenance, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _levels_fit(self) -> Condition:
        if self.flag_only:
            if self.levels or self.complaint_link:
                raise ValueError("a flag has no levels and no links")
            return self
        if len(self.levels) < 2 or len(self.complaint_link) != len(self.levels) - 1:
            raise ValueError("levels: none and at least one more, one complaint link for each")
        if not all(0 <= link <= 1 for link in self.complaint_link):
            raise ValueError("complaint_link: from 0 to 1")
        return self


class OtherCause(Frozen):
    """Complaints from causes outside the list."""

    leak: float = Field(ge=0, lt=1)
    note: str = ""
    basis: tuple[Provenance, ...] = Field(min_length=1)


class Conditions(Frozen):
    """All conditions. `columns` lists the levels above none, the axis C of every array here."""

    other_cause: OtherCause
    conditions: tuple[Condition, ...]

    @cached_property
    def network(self) -> tuple[Condition, ...]:
        """Those that have a probability, in the order of the network's variables."""
        return tuple(c for c in self.conditions if not c.flag_only)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Their ids."""
        return tuple(c.id for c in self.network)

    @cached_property
    def by_id(self) -> Mapping[str, Condition]:
        """Every condition, flags included, by id."""
        return {c.id: c for c in self.conditions}

    @cached_property
    def columns(self) -> tuple[tuple[str, int], ...]:
        """(condition, level) of each column, level from 1."""
        return tuple((c.id, k) for c in self.network for k in range(1, len(c.levels)))

    @cached_property
    def column_index(self) -> Mapping[tuple[str, int], int]:
        """Column of each (condition, level)."""
        return {column: i for i, column in enumerate(self.columns)}

    @cached_property
    def slices(self) -> Mapping[str, slice]:
        """The columns of each condition."""
        found, start = {}, 0
        for c in self.network:
            found[c.id] = slice(start, start + len(c.levels) - 1)
            start = found[c.id].stop
        return found

    @cached_property
    def complaint_links(self) -> tuple[float, ...]:
        """Complaint link of each column."""
        return tuple(link for c in self.network for link in c.complaint_link)


class Correlation(Frozen):
    """Prior of rho_s + rho_m: its mean, and the part of it that is rho_s."""

    mean: float = Field(ge=0, le=0.75)
    share_of_structure: float = Field(gt=0, lt=1)


class Mechanism(Frozen):
    """Readings that work in the same way on one structure."""

    id: str
    label: str
    readings: tuple[str, ...] = Field(min_length=1)


class Family(Frozen):
    """Readings aimed at one structure.

    near: structure families whose conditions act through this family's shared factors too,
    because they lie beside it and hurt or weaken in the same way.
    """

    id: str
    label: str
    correlation: Correlation
    mechanisms: tuple[Mechanism, ...] = Field(min_length=1)
    near: tuple[str, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)


class RhoPooling(Frozen):
    """How the correlations of the families hang together (sd on the logit scale)."""

    between_families_sd: float = Field(gt=0)
    own_sd: float = Field(gt=0)
    share_concentration: float = Field(gt=0)
    most: float = Field(gt=0, le=0.75)
    basis: tuple[Provenance, ...]


class Witness(Frozen):
    """Readings of one look: the first that can be judged speaks, the others are only shown."""

    item: str
    readings: tuple[str, ...] = Field(min_length=1)


class Families(Frozen):
    """Families of the region, in the order of the two rho arrays, and the witness groups."""

    pooling: RhoPooling
    families: tuple[Family, ...]
    witnesses: tuple[Witness, ...]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Ids of the families: the axis F of the rho arrays."""
        return tuple(family.id for family in self.families)

    @cached_property
    def place(self) -> Mapping[str, tuple[str, str]]:
        """(family, mechanism) of each reading that has one."""
        return {
            reading: (family.id, mechanism.id)
            for family in self.families
            for mechanism in family.mechanisms
            for reading in mechanism.readings
        }

    def near(self, family: str) -> frozenset[str]:
        """The structure families that act through the factors of this one, itself included."""
        mine = next(f for f in self.families if f.id == family)
        return frozenset((family, *mine.near))

    @cached_property
    def witness_group(self) -> Mapping[str, tuple[str, ...]]:
        """For each reading that shares its look with others: all of them, in order."""
        return {r: w.readings for w in self.witnesses for r in w.readings}


def conditions_of(region: Region) -> Conditions:
    """The conditions of a region; UserError if the part is absent or breaks the schema."""
    return region.view(_conditions)


def _conditions(region: Region) -> Conditions:
    return validate_model(Conditions, region.part("conditions"), "conditions.yaml")


def families_of(region: Region) -> Families:
    """The families of a region; UserError if the part is absent or breaks the schema."""
    return region.view(_families)


def _families(region: Region) -> Families:
    return validate_model(Families, region.part("families"), "families.yaml")
