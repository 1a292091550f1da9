"""Red flags: raised, or not excluded. Rules over a record; no probability can hide one."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from sidewise.errors import UserError
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Mark, Provenance
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Protocol, Reading, protocol_of
from sidewise.reason.judging.flag_state import FlagState, flag_state
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import (
    Ask,
    Cutoff,
    Rule,
    below_zero,
    cutoffs,
    leaves,
    made_one,
    unresolved,
)
from sidewise.reason.judging.ruling import Ruling, evaluate
from sidewise.reason.result import RedFlag

SIDES = ("left", "right")
URGENCIES = ("immediate", "emergency", "urgent", "soon")
Urgency = Literal["immediate", "emergency", "urgent", "soon"]
HOW_FAST: dict[str, str] = {
    "immediate": "call the local emergency number now",
    "emergency": "the same day",
    "urgent": "within two weeks",
    "soon": "at the next routine opportunity",
}


class WithholdGroup(Frozen):
    """What a raised flag may withhold: items, or stages (only some modes of movement)."""

    label: str
    items: tuple[str, ...] = ()
    stages: tuple[str, ...] = ()
    modes: tuple[str, ...] = ()

    def holds(self, item: Item, mode: str | None) -> bool:
        """Whether the group withholds this item in this mode."""
        if item.id in self.items:
            return True
        if item.stage not in self.stages:
            return False
        # A movement item without modes (an arc, the rhythm) is active movement.
        return not self.modes or (mode or "active") in self.modes


class MeaninglessGroup(Frozen):
    """Whose percentages a raised flag takes the meaning from."""

    label: str
    families: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    readings: tuple[str, ...] = ()


class Figure(Frozen):
    """A number or grade that a rule turns on: what it is read from, its source, how we have it."""

    what: tuple[str, ...] = Field(min_length=1)
    value: float | str
    mark: Mark
    source: str = Field(min_length=3)

    @field_validator("what", mode="before")
    @classmethod
    def _one_or_several(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    def cutoffs(self) -> Iterator[Cutoff]:
        """The figure as each rule leaf that may use it would state it."""
        return (Cutoff(what, self.value) for what in self.what)


class FlagRule(Frozen):
    """A red flag as data.

    `stops_injection`: while it is raised, an injection is recorded only if it is acknowledged.
    `everyday` tells what looks like it and is harmless; `beside` are words that speak for it only
    beside others: alone they do not call for it.
    """

    id: str
    label: str = Field(min_length=5)
    purpose: str = Field(min_length=5, pattern=r"\?$")
    suspect: str = Field(min_length=5)
    urgency: Urgency
    scope: Literal["side", "person"]
    why: str = Field(min_length=10)
    do: str = Field(min_length=10)
    everyday: str = Field(min_length=10)
    when: Rule
    called_for_by: Rule | None = None
    beside: tuple[str, ...] = ()
    withhold: tuple[str, ...]
    meaningless: tuple[str, ...] = ()
    stops_injection: bool = False
    figures: tuple[Figure, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)

    @cached_property
    def asks(self) -> tuple[str, ...]:
        """The questions of its rule."""
        return tuple(leaf.ask for leaf in leaves(self.when) if isinstance(leaf, Ask))


class Threshold(Frozen):
    """A referral or imaging criterion that the plan offers to the clinician."""

    id: str
    label: str
    do: str
    when: Rule
    figures: tuple[Figure, ...] = ()
    basis: tuple[Provenance, ...] = Field(min_length=1)


class FlagBook(Frozen):
    """Every flag of a region, in the file's order.

    `ordinary` are words that everyday pain has too: by themselves they call for no flag.
    `plain_words` say in everyday words which items and vital signs one would look at together.
    """

    withhold_groups: dict[str, WithholdGroup]
    meaningless_groups: dict[str, MeaninglessGroup] = {}
    plain_words: dict[str, tuple[str, ...]] = {}
    ordinary: tuple[str, ...] = ()
    shared_rules: dict[str, Rule] = {}
    shared_figures: dict[str, Figure] = {}
    flags: tuple[FlagRule, ...]
    thresholds: tuple[Threshold, ...]

    @model_validator(mode="after")
    def _groups_known(self) -> FlagBook:
        for flag in self.flags:
            if unknown := set(flag.withhold) - set(self.withhold_groups):
                raise ValueError(f"flag {flag.id}: unknown withhold groups {sorted(unknown)}")
            if unknown := set(flag.meaningless) - set(self.meaningless_groups):
                raise ValueError(f"flag {flag.id}: unknown meaningless groups {sorted(unknown)}")
        return self

    @model_validator(mode="after")
    def _figures_owned(self) -> FlagBook:
        owners: tuple[FlagRule | Threshold, ...] = (*self.flags, *self.thresholds)
        for owner in owners:
            used = set(_owner_cutoffs(owner))
            stated = {cutoff for figure in owner.figures for cutoff in figure.cutoffs()}
            if bare := used - stated:
                raise ValueError(f"{owner.id}: figures without a source: {_said(bare)}")
            unused = [f for f in owner.figures if not used & set(f.cutoffs())]
            if unused:
                raise ValueError(f"{owner.id}: figures that no rule uses: {unused[0].what}")
        return self

    def rules(self) -> list[tuple[str, Rule]]:
        """Every rule with the name of its owner."""
        found = [(flag.id, flag.when) for flag in self.flags]
        found += [(f.id, f.called_for_by) for f in self.flags if f.called_for_by]
        return found + [(threshold.id, threshold.when) for threshold in self.thresholds]


def _owner_cutoffs(owner: FlagRule | Threshold) -> Iterator[Cutoff]:
    yield from cutoffs(owner.when)
    if isinstance(owner, FlagRule) and owner.called_for_by:
        yield from cutoffs(owner.called_for_by)


def _said(found: set[Cutoff]) -> str:
    return ", ".join(sorted(f"{cutoff.what} {cutoff.value}" for cutoff in found))


@dataclass(frozen=True, slots=True)
class Withheld:
    """Which groups are withheld and because of which flag."""

    groups: tuple[tuple[WithholdGroup, str], ...]

    def why(self, item: Item, mode: str | None = None) -> str | None:
        """The reason this item is withheld in this mode, or None if it is not."""
        for group, flag in self.groups:
            if group.holds(item, mode):
                return f"withheld: {flag}"
        return None

    def wholly(self, item: Item) -> str | None:
        """The reason the item is withheld in every mode it has, or None."""
        reasons = [self.why(item, mode) for mode in item.modes or (None,)]
        return reasons[0] if all(reasons) else None


FILE = "red_flags.yaml"
ANSWERABLE = "words the protocol can answer"


def flag_book_of(region: Region) -> FlagBook:
    """The flags of a region; UserError if a word of a rule resolves to nothing."""
    return region.view(_flag_book)


def _flag_book(region: Region) -> FlagBook:
    told = region.part("conditions")["conditions"] if region.has("conditions") else ()
    conditions = {entry["id"] for entry in told}
    return flag_book(region.part("red_flags"), protocol_of(region), conditions)


def flag_book(data: Any, protocol: Protocol, conditions: Collection[str]) -> FlagBook:
    """The flags that the data describe, held against the protocol and the conditions.

    UserError if a word resolves to nothing, a flag says nothing to do, a figure has no source, or
    a threshold lies below zero.
    """
    _check_deeds(data)
    book = validate_model(FlagBook, data, FILE)
    for owner, rule in book.rules():
        for problem in unresolved(rule, protocol):
            raise UserError(f"{FILE}: {owner}", problem, ANSWERABLE,
                            "Correct the word, or add it to the protocol.")  # fmt: skip
        for cutoff in below_zero(rule):
            raise UserError(f"{FILE}: {owner}: {cutoff.what}", cutoff.value, "nought or more",
                            "Say it the other way round: at_most for at_least.")  # fmt: skip
    _check_groups(book, protocol)
    _check_names(book, protocol, conditions)
    return _made_one(book, protocol)


def _check_deeds(data: Any) -> None:
    """A flag that nobody knows what to do about must not be raised."""
    for flag in data.get("flags") or () if isinstance(data, dict) else ():
        if isinstance(flag, dict) and not str(flag.get("do") or "").strip():
            raise UserError(f"{FILE}: {flag.get('id')}", flag.get("do"), "what to do, and how fast",
                            "Add a sentence `do` to the flag.")  # fmt: skip


def _check_names(book: FlagBook, protocol: Protocol, conditions: Collection[str]) -> None:
    """Every name outside the rules that would otherwise do nothing, and nobody would notice."""
    known = {*protocol.by_id, *protocol.history_by_id, *protocol.vitals_by_id}
    families = {reading.family for reading in protocol.readings if reading.family}
    named: list[tuple[str, Iterable[str], Collection[str]]] = [("ordinary", book.ordinary, known)]
    named += [(f"plain_words.{w}", names, known) for w, names in book.plain_words.items()]
    named += [(f"{flag.id}: beside", flag.beside, known) for flag in book.flags]
    for name, group in book.meaningless_groups.items():
        where = f"meaningless_groups.{name}"
        named += [
            (where, group.families, families),
            (where, group.conditions, conditions),
            (where, group.readings, protocol.readings_by_id),
        ]
    for where, names, allowed in named:
        for strange in (word for word in names if word not in allowed):
            raise UserError(f"{FILE}: {where}", strange, ANSWERABLE,
                            "Correct the word, or take it out.")  # fmt: skip


def _check_groups(book: FlagBook, protocol: Protocol) -> None:
    """A group that names nothing would withhold nothing, and nobody would notice."""
    for name, group in book.withhold_groups.items():
        unknown = [item for item in group.items if item not in protocol.by_id]
        unknown += [stage for stage in group.stages if stage not in protocol.stages_by_id]
        if unknown:
            raise UserError(f"{FILE}: withhold_groups.{name}", unknown[0],
                            "items and stages of the protocol")  # fmt: skip


def _made_one(book: FlagBook, protocol: Protocol) -> FlagBook:
    """The book, parts that its flags share being one object each, and so are readings' criteria."""
    known: dict[Any, Any] = {reading.criterion: reading.criterion for reading in protocol.readings}
    flags = [
        flag.model_copy(
            update={
                name: made_one(rule, known)
                for name in ("when", "called_for_by")
                if (rule := getattr(flag, name)) is not None
            }
        )
        for flag in book.flags
    ]
    return book.model_copy(update={"flags": tuple(flags)})


def red_flags(judge: Judge, book: FlagBook) -> tuple[RedFlag, ...]:
    """Flags raised, then those not excluded, those called for first; each in order of urgency.

    A flag is raised if its rule holds by any of the values stated for what it reads, and not
    excluded as long as anything still open could make it hold. Nothing else is silent.
    """
    ruling = Ruling(judge)
    ordinary = frozenset(book.ordinary)
    states = ((rule, flag_state(rule, ruling, ordinary)) for rule in book.flags)
    found = [_shown(rule, state) for rule, state in states if state is not None]
    return tuple(sorted(found, key=flag_order))


def flag_order(flag: RedFlag) -> tuple[bool, bool, int]:
    """Raised before not excluded, called for before the rest, then by urgency."""
    return flag.status != "raised", not flag.called_for, URGENCIES.index(flag.urgency)


def _shown(rule: FlagRule, state: FlagState) -> RedFlag:
    raised = state.status == "raised"
    return RedFlag(
        flag=rule.id,
        label=rule.label,
        status=state.status,
        urgency=rule.urgency,
        suspect=rule.suspect,
        because=state.because,
        missing=state.missing,
        do=rule.do,
        withhold=rule.withhold if raised else (),
        why=rule.why,
        sources=rule.basis,
        called_for=state.called_for,
        purpose=rule.purpose,
        how_fast=HOW_FAST[rule.urgency],
        meaningless=rule.meaningless if raised else (),
        sides=state.sides,
    )


def withheld(flags: tuple[RedFlag, ...], book: FlagBook) -> Withheld:
    """What the raised flags withhold."""
    pairs = [
        (book.withhold_groups[name], flag.label)
        for flag in flags
        if flag.status == "raised"
        for name in flag.withhold
    ]
    return Withheld(tuple(pairs))


@dataclass(frozen=True, slots=True)
class Meaningless:
    """Whose percentages the raised flags take the meaning from, each with the flags' labels.

    By name and side: a flag of one side leaves the figures of the other their meaning.
    """

    conditions: dict[tuple[str, str], str]
    families: dict[tuple[str, str], str]
    readings: dict[tuple[str, str], str]

    def why(self, reading: Reading, side: str) -> str | None:
        """Why this reading means nothing on this side while the flag stands, or None."""
        return _on(self.readings, reading.id, side) or _on(
            self.families, reading.family or "", side
        )

    def why_condition(self, name: str, side: str | None) -> str | None:
        """Why no figure may be given for a condition of this side (None: of the whole person)."""
        return _on(self.conditions, name, side or "")


NOTHING_MEANINGLESS = Meaningless({}, {}, {})


def _on(found: dict[tuple[str, str], str], name: str, side: str) -> str | None:
    """What is said of a name on a side; of what has no side whatever is said of either."""
    sides = (side,) if side in SIDES else SIDES
    return next((found[name, one] for one in sides if (name, one) in found), None)


def meaningless(flags: tuple[RedFlag, ...], book: FlagBook) -> Meaningless:
    """What the raised flags take the meaning from; the first flag in their order is the reason."""
    found = Meaningless({}, {}, {})
    for flag in flags:
        for name in flag.meaningless:
            group = book.meaningless_groups[name]
            for part in ("conditions", "families", "readings"):
                for word, side in product(getattr(group, part), flag.sides):
                    getattr(found, part).setdefault((word, side), flag.label)
    return found


def unasked_core(protocol: Protocol, judge: Judge) -> tuple[str, ...]:
    """The core questions that were not asked, by label."""
    context = judge.record.context
    asked = ("yes", "no", "unsure")
    return tuple(
        entry.label
        for entry in protocol.history
        if entry.core and context.answer(entry.id) not in asked
    )


def thresholds(judge: Judge, book: FlagBook) -> tuple[Threshold, ...]:
    """The referral and imaging criteria that are met."""
    both = ("left", "right")
    return tuple(t for t in book.thresholds if evaluate(t.when, judge, both).value == "yes")
