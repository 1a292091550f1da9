"""What a rule comes to on a record, with the words that speak for it and those that are missing.

A rule is walked once. Where findings or statements are disputed, or doubtful, the walk carries
what the rule would come to by each of them (`truth`), so that no doubt turns into silence.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from sidewise.protocol.criteria import Answer
from sidewise.reason.judging.claims import Claim, claims, label_of
from sidewise.reason.judging.context_claims import Said, context_claims, question_claims
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import (
    AllOf,
    AnyOf,
    Ask,
    AtLeast,
    ContextIs,
    Is,
    Not,
    Rule,
    Unless,
)
from sidewise.reason.judging.truth import (
    DOUBTED,
    FAILS,
    UNKNOWN,
    YES,
    Truth,
    any_truth,
    count_truth,
    every_truth,
    excepted,
    of_claims,
    opposite,
)

Three = Literal["yes", "no", "unknown"]
Sides = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Words:
    """What speaks for a rule, what is doubtful, what is missing, and the ids that speak.

    sides: those on which a finding of one side speaks for it.
    """

    met: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    ids: frozenset[str] = frozenset()
    sides: frozenset[str] = frozenset()


SILENT = Words()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule comes to; its words, or the parts that may hold, whose words are joined.

    Most outcomes are never shown, so words are joined only when they are asked for.
    """

    truth: Truth
    said: Words = SILENT
    parts: tuple[Outcome, ...] = ()

    @property
    def value(self) -> Three:
        """Yes if it holds by any of the values stated, no if nothing open could make it hold."""
        if self.truth.best == YES:
            return "yes"
        return "no" if self.truth.never else "unknown"

    @property
    def met(self) -> tuple[str, ...]:
        """Which leaves speak for it: of one that holds, only those that make it hold."""
        found = (word for part in self._speaking for word in part.met)
        return tuple(dict.fromkeys(found)) if self.parts else self.said.met

    @property
    def doubts(self) -> tuple[str, ...]:
        """Which leaves may speak for it."""
        found = (word for part in self.parts for word in part.doubts)
        return tuple(dict.fromkeys(found)) if self.parts else self.said.doubts

    @property
    def missing(self) -> tuple[str, ...]:
        """Which leaves could not be known."""
        found = (word for part in self.parts if part.value == "unknown" for word in part.missing)
        return tuple(dict.fromkeys(found)) if self.parts else self.said.missing

    @property
    def words(self) -> frozenset[str]:
        """The ids of the items and questions that speak for it, surely or possibly."""
        if not self.parts:
            return self.said.ids
        return frozenset(word for part in self.parts for word in part.words)

    @property
    def sides(self) -> frozenset[str]:
        """The sides on which a finding makes it hold."""
        if not self.parts:
            return self.said.sides
        return frozenset(side for part in self._speaking for side in part.sides)

    @property
    def _speaking(self) -> tuple[Outcome, ...]:
        if self.truth.best != YES:
            return self.parts
        return tuple(part for part in self.parts if part.truth.best == YES)


NEVER = Outcome(FAILS)
"""What a "no" rests on is never shown."""


def evaluate(rule: Rule, judge: Judge, sides: Sides) -> Outcome:
    """The rule on the judge's record; a leaf holds if it holds on any of `sides`."""
    return Ruling(judge).outcome(rule, sides)


@dataclass(frozen=True, slots=True)
class Ruling:
    """Rules on one record; a part that several rules share (the same object) once.

    It must not outlive the rules, which it knows by identity.
    """

    judge: Judge
    _known: dict[tuple[int, Sides], Outcome] = field(default_factory=dict, init=False, repr=False)
    _claims: dict[tuple[int, str, str], tuple[Claim, ...]] = field(
        default_factory=dict, init=False, repr=False
    )

    def outcome(self, rule: Rule, sides: Sides) -> Outcome:
        """What a rule comes to; a leaf holds if it holds on any of `sides`."""
        key = (id(rule), sides)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = RULINGS[type(rule)](self, rule, sides)
        return known

    def claims(self, leaf: Is, side: str) -> tuple[Claim, ...]:
        """What the record says of a leaf on one side; of equal criteria once."""
        key = (id(leaf.criterion), leaf.item, side)
        known = self._claims.get(key)
        if known is None:
            known = self._claims[key] = claims(self.judge, leaf.criterion, leaf.item, side)
        return known


def _count(parts: tuple[Rule, ...], needed: int, ruling: Ruling, sides: Sides) -> Outcome:
    outcomes: list[Outcome] = []
    spare = len(parts) - needed
    for part in parts:
        found = ruling.outcome(part, sides)
        if not found.truth.never:
            outcomes.append(found)
        elif spare:
            spare -= 1
        else:
            # Too many are settled with no.
            return NEVER
    return Outcome(count_truth([one.truth for one in outcomes], needed), parts=tuple(outcomes))


def _not(rule: Not, ruling: Ruling, sides: Sides) -> Outcome:
    inner = ruling.outcome(rule.negated, sides)
    truth = opposite(inner.truth)
    if truth.never:
        return NEVER
    # What is denied never calls for a flag by itself; what is open about it is still missing.
    return Outcome(truth, Words(missing=inner.missing))


def _unless(rule: Unless, ruling: Ruling, sides: Sides) -> Outcome:
    then = ruling.outcome(rule.then, sides)
    if then.truth.never:
        return NEVER
    truth = excepted(then.truth, ruling.outcome(rule.unless, sides).truth)
    return NEVER if truth.never else Outcome(truth, parts=(then,))


def _is(leaf: Is, ruling: Ruling, sides: Sides) -> Outcome:
    asked = _asked_sides(leaf, ruling.judge, sides)
    found = [(side, ruling.claims(leaf, side)) for side in asked]
    if not found:
        return NEVER
    truths = [of_claims([claim.truth for claim in claimed]) for _, claimed in found]
    truth = every_truth(truths) if leaf.sides == "both" else any_truth(truths)
    if truth.never:
        return NEVER
    return Outcome(truth, _leaf_words(leaf, ruling.judge, found, truth))


def _leaf_words(
    leaf: Is, judge: Judge, found: Sequence[tuple[str, tuple[Claim, ...]]], truth: Truth
) -> Words:
    label = label_of(leaf.item, judge.protocol)
    spoken = [
        (claim.truth, f"{_where(leaf, side, judge)}{label}: {claim.because}")
        for side, claimed in found
        for claim in claimed
    ]
    met = tuple(words for said, words in spoken if said.best == YES)
    doubts = tuple(words for said, words in spoken if said == DOUBTED)
    return Words(
        met=met[:1] if truth.best == YES else (),
        doubts=doubts[:1],
        missing=(label,) if truth.best == UNKNOWN and leaf.ask_for else (),
        ids=_speaking(leaf) if truth.high == YES else frozenset(),
        sides=frozenset(_sides_found(leaf, judge, found)),
    )


def _sides_found(
    leaf: Is, judge: Judge, found: Sequence[tuple[str, tuple[Claim, ...]]]
) -> Iterator[str]:
    """The sides on which something was found; nothing of what has no side."""
    item = judge.protocol.by_id.get(leaf.item)
    if item is not None and item.paired:
        for side, claimed in found:
            if any(claim.truth.best == YES for claim in claimed):
                yield side


def _where(leaf: Is, side: str, judge: Judge) -> str:
    item = judge.protocol.by_id.get(leaf.item)
    return f"{side} " if item and item.paired and leaf.sides != "both" else ""


def _said(found: Said) -> Outcome:
    if found.truth.never:
        return NEVER
    words = Words(
        met=(found.label,) if found.truth.best == YES else (),
        doubts=(f"{found.label}: not sure",) if found.doubted else (),
        missing=(found.label,) if found.truth.best == UNKNOWN else (),
        ids=frozenset((found.name,)) if found.name and found.truth.high == YES else frozenset(),
    )
    return Outcome(found.truth, words)


def _context(rule: ContextIs, ruling: Ruling, sides: Sides) -> Outcome:
    found = context_claims(rule.context, ruling.judge.record.context, sides)
    outcomes = tuple(_said(one) for one in found)
    truth = every_truth([one.truth for one in outcomes])
    return NEVER if truth.never else Outcome(truth, parts=outcomes)


RULINGS: dict[type, Callable[[Ruling, Any, Sides], Outcome]] = {
    Ask: lambda ruling, rule, _sides: _said(question_claims(rule.ask, ruling.judge)),
    Is: lambda ruling, rule, sides: _is(rule, ruling, sides),
    ContextIs: lambda ruling, rule, sides: _context(rule, ruling, sides),
    AllOf: lambda ruling, rule, sides: _count(rule.all_of, len(rule.all_of), ruling, sides),
    AnyOf: lambda ruling, rule, sides: _count(rule.any_of, 1, ruling, sides),
    AtLeast: lambda ruling, rule, sides: _count(rule.of, rule.at_least, ruling, sides),
    Not: lambda ruling, rule, sides: _not(rule, ruling, sides),
    Unless: lambda ruling, rule, sides: _unless(rule, ruling, sides),
}


def _asked_sides(leaf: Is, judge: Judge, sides: tuple[str, ...]) -> tuple[str, ...]:
    if leaf.sides == "both":
        return ("left", "right")
    complaint = judge.record.context.complaint
    if leaf.sides == "complaint" and complaint:
        return tuple(side for side in sides if side in complaint)
    return sides


def _speaking(leaf: Is) -> frozenset[str]:
    """An answer of no may settle a rule, but it never calls for a flag."""
    denied = isinstance(leaf.criterion, Answer) and "yes" not in leaf.criterion.values
    return frozenset() if denied else frozenset((leaf.item,))
