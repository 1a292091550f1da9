"""Red flags: raised, or not excluded. Rules over a record; no probability can hide one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Any, Literal

from pydantic import Field, field_validator, model_validator

from sidewise.errors import UserError
from sidewise.protocol import Basis, Item, Mark, Protocol, load_protocol
from sidewise.protocol.kinds import Frozen
from sidewise.protocol.loader import read_yaml, region_folder, validated
from sidewise.protocol.model import Stage
from sidewise.reason.judge import Judge
from sidewise.reason.result import RedFlag, Source
from sidewise.reason.rules import (
    Ask,
    Cutoff,
    Rule,
    cutoffs,
    leaves,
    made_one,
    unresolved,
)
from sidewise.reason.ruling import Outcome, Ruling, evaluate

URGENCIES = ("immediate", "emergency", "urgent", "soon")
Urgency = Literal["immediate", "emergency", "urgent", "soon"]


class WithholdGroup(Frozen):
    """What a raised flag may withhold: items, or stages (only some modes of movement)."""

    label: str
    items: tuple[str, ...] = ()
    stages: tuple[Stage, ...] = ()
    modes: tuple[str, ...] = ()

    def holds(self, item: Item, mode: str | None) -> bool:
        """Whether the group withholds this item in this mode."""
        if item.id in self.items:
            return True
        if item.stage not in self.stages:
            return False
        # A movement item without modes (an arc, the rhythm) is active movement.
        return not self.modes or (mode or "active") in self.modes


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
    """A red flag as data."""

    id: str
    label: str
    suspect: str
    urgency: Urgency
    scope: Literal["side", "person"]
    why: str
    do: str
    when: Rule
    called_for_by: Rule | None = None
    withhold: tuple[str, ...]
    figures: tuple[Figure, ...] = ()
    basis: tuple[Basis, ...] = Field(min_length=1)

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
    basis: tuple[Basis, ...] = Field(min_length=1)


class FlagBook(Frozen):
    """Every flag of a region, in the file's order.

    `ordinary` are words that everyday pain has too: by themselves they call for no flag.
    """

    withhold_groups: dict[str, WithholdGroup]
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


@lru_cache(maxsize=8)
def load_flags(region: str) -> FlagBook:
    """The flags of a region; UserError if a word of a rule resolves to nothing."""
    path = region_folder(region) / "red_flags.yaml"
    book: FlagBook = validated(FlagBook, read_yaml(path), path.name)
    protocol = load_protocol(region)
    for owner, rule in book.rules():
        if problems := unresolved(rule, protocol):
            raise UserError(f"{path.name}: {owner}", problems[0], "words the protocol can answer")
    known = {*protocol.by_id, *protocol.history_by_id, *protocol.vitals_by_id}
    if strange := [word for word in book.ordinary if word not in known]:
        raise UserError(f"{path.name}: ordinary", strange[0], "words the protocol can answer")
    return _made_one(book, protocol)


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
    """Flags raised, then flags not excluded, each in order of urgency.

    A finding recorded twice and differently counts as not examined, but a flag that one of the
    two would raise is raised: it must not fall silent because somebody else saw it otherwise.
    """
    found = {flag.flag: flag for flag in _ruled(judge, book)}
    for settled in judge.record.settlings() if judge.record.conflicts else ():
        for flag in _ruled(Judge(judge.protocol, settled, judge.sem), book):
            known = found.get(flag.flag)
            if flag.status == "raised" and (known is None or known.status != "raised"):
                because = (*flag.because, NOT_SETTLED)
                found[flag.flag] = replace(flag, because=because)
    order = {"raised": 0, "not excluded": 1}
    return tuple(
        sorted(found.values(), key=lambda f: (order[f.status], URGENCIES.index(f.urgency)))
    )


NOT_SETTLED = "recorded twice, differently: not settled yet"


def _ruled(judge: Judge, book: FlagBook) -> list[RedFlag]:
    ruling = Ruling(judge)
    return [flag for rule in book.flags for flag in _flag(rule, ruling, book)]


def _flag(rule: FlagRule, ruling: Ruling, book: FlagBook) -> list[RedFlag]:
    both = ("left", "right")
    groups = [(side,) for side in both] if rule.scope == "side" else [both]
    outcomes = [ruling.outcome(rule.when, sides) for sides in groups]
    if raised := [outcome for outcome in outcomes if outcome.value == "yes"]:
        met = tuple(dict.fromkeys(word for outcome in raised for word in outcome.met))
        return [_shown(rule, "raised", met, ())]
    open_ones = [outcome for outcome in outcomes if outcome.value == "unknown"]
    missing = _worth_asking(rule, open_ones, ruling, frozenset(book.ordinary))
    if not missing:
        return []
    met = tuple(dict.fromkeys(word for outcome in open_ones for word in outcome.met))
    return [_shown(rule, "not excluded", met, missing)]


def _worth_asking(
    rule: FlagRule, outcomes: list[Outcome], ruling: Ruling, ordinary: frozenset[str]
) -> tuple[str, ...]:
    """What is missing: all of it if the presentation calls for the flag, else core questions.

    Called for by its own rule, or by anything out of the ordinary that speaks for it.
    """
    missing = dict.fromkeys(word for outcome in outcomes for word in outcome.missing)
    if not missing:
        return ()
    if any(outcome.words - ordinary for outcome in outcomes) or _called(rule, ruling):
        return tuple(missing)
    questions = ruling.judge.protocol.history_by_id
    core = {questions[name].label for name in rule.asks if questions[name].core}
    return tuple(word for word in missing if word in core)


def _called(rule: FlagRule, ruling: Ruling) -> bool:
    if rule.called_for_by is None:
        return False
    return ruling.outcome(rule.called_for_by, ("left", "right")).value == "yes"


def _shown(
    rule: FlagRule,
    status: Literal["raised", "not excluded"],
    because: tuple[str, ...],
    missing: tuple[str, ...],
) -> RedFlag:
    return RedFlag(
        flag=rule.id,
        label=rule.label,
        status=status,
        urgency=rule.urgency,
        suspect=rule.suspect,
        because=because,
        missing=missing,
        do=rule.do,
        withhold=rule.withhold if status == "raised" else (),
        why=rule.why,
        sources=tuple(Source(b.source, b.mark.value, b.note) for b in rule.basis),
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
