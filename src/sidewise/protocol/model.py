"""The protocol: what can be examined, how, and what each way of finding it is called."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from functools import cached_property
from typing import Literal

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.protocol.criteria import Criterion, Mode
from sidewise.protocol.kinds import Frozen, Kind


class Mark(StrEnum):
    """How we have a figure; each carries exactly one."""

    READ = "read"
    MEMORY = "memory"
    COMMON_PRACTICE = "common practice"
    OUR_JUDGEMENT = "our judgement"
    COMPUTED = "computed"


class Stage(StrEnum):
    """The stages of an examination, in order."""

    PREPARE = "prepare"
    LOOK = "look"
    NECK = "neck"
    FEEL = "feel"
    MOVE = "move"
    POWER = "power"
    SPECIAL_TESTS = "special tests"
    NERVES_AND_VESSELS = "nerves and vessels"
    FUNCTION = "function"
    CLOSE = "close"


class Basis(Frozen):
    """Where a statement or figure comes from, and how we have it."""

    mark: Mark
    source: str = Field(min_length=3)
    note: str = ""


class StageGuide(Frozen):
    """Where patient and examiner are in one stage, and what the stage is for."""

    stage: Stage
    patient: str
    examiner: str
    purpose: str


class Structure(Frozen):
    """An anatomical structure or body system that items speak about, in the order it is felt."""

    id: str
    label: str
    group: str


class Item(Frozen):
    """One thing that can be examined, with all that a student needs to do it."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str = Field(min_length=3)
    stage: Stage
    group: str = Field(min_length=2)
    paired: bool
    kinds: tuple[Kind, ...] = Field(min_length=1)
    modes: tuple[Mode, ...] = ()
    structures: tuple[str, ...] = ()
    patient: str = Field(min_length=3)
    examiner: str = Field(min_length=3)
    how: str = Field(min_length=20)
    say: str = Field(min_length=3)
    abnormal: str = Field(min_length=10)
    mistakes: tuple[str, ...] = Field(min_length=1)
    seconds: int = Field(ge=1, le=300)
    soreness: int = Field(ge=0, le=3)
    role: Literal["essential", "optional", "flag"]
    basis: tuple[Basis, ...] = Field(min_length=1)

    @model_validator(mode="after")
    def _kinds_once(self) -> Item:
        names = [kind.kind for kind in self.kinds]
        if len(set(names)) != len(names):
            raise ValueError("kinds: each kind of value once")
        return self

    def kind(self, name: str) -> Kind | None:
        """The item's limits for values of kind `name`, or None if it does not take them."""
        return next((kind for kind in self.kinds if kind.kind == name), None)


class HistoryItem(Frozen):
    """A question whose answer changes the odds or raises a flag: yes, no, unsure, not asked."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str = Field(min_length=3)
    group: str = Field(min_length=2)
    say: str = Field(min_length=5)
    why: str = Field(min_length=5)
    core: bool = False
    basis: tuple[Basis, ...] = Field(min_length=1)


class VitalSign(Frozen):
    """A vital sign of the whole person: what it is, its unit and the possible range."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    label: str
    unit: str
    low: float
    high: float
    basis: tuple[Basis, ...] = Field(min_length=1)


class Requirement(Frozen):
    """Something that must hold before a reading can be interpreted."""

    item: str
    criterion: Criterion
    because: str


class Reading(Frozen):
    """One way an item can speak: an item, a criterion with its threshold, and its mechanism."""

    id: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    item: str
    label: str
    criterion: Criterion
    family: str | None = None
    mechanism: str | None = None
    painful: bool = False
    monotone: bool = False
    defining_for: tuple[str, ...] = ()
    interpretable_when: tuple[Requirement, ...] = ()
    basis: tuple[Basis, ...] = Field(min_length=1)


class Protocol(Frozen):
    """Everything that can be examined in one region."""

    region: str
    label: str
    guides: tuple[StageGuide, ...]
    structures: tuple[Structure, ...]
    items: tuple[Item, ...]
    history: tuple[HistoryItem, ...]
    vitals: tuple[VitalSign, ...]
    readings: tuple[Reading, ...]

    @model_validator(mode="after")
    def _names_resolve(self) -> Protocol:
        _once([item.id for item in self.items] + [entry.id for entry in self.history], "items")
        _once([reading.id for reading in self.readings], "readings")
        known = {structure.id for structure in self.structures}
        for item in self.items:
            if unknown := set(item.structures) - known:
                raise ValueError(f"item {item.id}: unknown structures {sorted(unknown)}")
        names = {item.id for item in self.items} | {entry.id for entry in self.history}
        for reading in self.readings:
            needed = {reading.item} | {need.item for need in reading.interpretable_when}
            if unknown := needed - names:
                raise ValueError(f"reading {reading.id}: unknown items {sorted(unknown)}")
        return self

    @cached_property
    def by_id(self) -> Mapping[str, Item]:
        """Items by their id."""
        return {item.id: item for item in self.items}

    @cached_property
    def history_by_id(self) -> Mapping[str, HistoryItem]:
        """History items by their id."""
        return {entry.id: entry for entry in self.history}

    @cached_property
    def vitals_by_id(self) -> Mapping[str, VitalSign]:
        """Vital signs by their id."""
        return {vital.id: vital for vital in self.vitals}

    @cached_property
    def readings_by_id(self) -> Mapping[str, Reading]:
        """Readings by their id."""
        return {reading.id: reading for reading in self.readings}

    @cached_property
    def readings_by_item(self) -> Mapping[str, tuple[Reading, ...]]:
        """Every reading of each item that has one."""
        found: dict[str, tuple[Reading, ...]] = {}
        for reading in self.readings:
            found[reading.item] = (*found.get(reading.item, ()), reading)
        return found

    @cached_property
    def order(self) -> Mapping[str, int]:
        """The place of each item in the examination."""
        return {item.id: place for place, item in enumerate(self.items)}

    def item(self, name: str) -> Item:
        """The item called `name`; UserError with the nearest names if there is none."""
        try:
            return self.by_id[name]
        except KeyError:
            raise UserError(
                "item", name, "an item of the protocol", nearest(name, self.by_id)
            ) from None


def nearest(name: str, names: Mapping[str, object]) -> str:
    """A remedy that names the most similar known words."""
    from difflib import get_close_matches

    close = get_close_matches(name, list(names), n=3, cutoff=0.5)
    if close:
        return f"Did you mean {' or '.join(close)}?"
    return "See `sidewise sources` for the list of items."


def _once(names: list[str], what: str) -> None:
    if len(set(names)) != len(names):
        twice = sorted({name for name in names if names.count(name) > 1})
        raise ValueError(f"{what}: named twice: {twice}")
