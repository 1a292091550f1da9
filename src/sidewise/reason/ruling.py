"""What a rule comes to on a record: yes, no or unknown, and the words that speak for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal

from sidewise.protocol import Protocol
from sidewise.protocol.criteria import Answer
from sidewise.reason.judge import Judge, State, Verdict
from sidewise.reason.rules import (
    AllOf,
    AnyOf,
    Ask,
    AtLeast,
    ContextIs,
    ContextTest,
    Is,
    Not,
    Rule,
    Unless,
)
from sidewise.record import Context

Three = Literal["yes", "no", "unknown"]
Sides = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Words:
    """What speaks for a rule, what is missing, and the ids of items and questions that speak."""

    met: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    ids: frozenset[str] = frozenset()


SILENT = Words()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule comes to; its words, or the parts that are not "no", whose words are joined.

    Most outcomes are never shown, so words are joined only when they are asked for.
    """

    value: Three
    said: Words = SILENT
    parts: tuple[Outcome, ...] = ()

    @property
    def met(self) -> tuple[str, ...]:
        """Which leaves speak for it."""
        found = (word for part in self.parts for word in part.met)
        return tuple(dict.fromkeys(found)) if self.parts else self.said.met

    @property
    def missing(self) -> tuple[str, ...]:
        """Which leaves could not be known."""
        found = (word for part in self.parts if part.value == "unknown" for word in part.missing)
        return tuple(dict.fromkeys(found)) if self.parts else self.said.missing

    @property
    def words(self) -> frozenset[str]:
        """The ids of the items and questions that speak for it."""
        if not self.parts:
            return self.said.ids
        return frozenset(word for part in self.parts for word in part.words)


NO = Outcome("no")
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

    def outcome(self, rule: Rule, sides: Sides) -> Outcome:
        """What a rule comes to; a leaf holds if it holds on any of `sides`."""
        key = (id(rule), sides)
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = RULINGS[type(rule)](self, rule, sides)
        return known


def _count(parts: tuple[Rule, ...], needed: int, ruling: Ruling, sides: Sides) -> Outcome:
    outcomes: list[Outcome] = []
    spare = len(parts) - needed
    for part in parts:
        found = ruling.outcome(part, sides)
        if found.value != "no":
            outcomes.append(found)
        elif spare:
            spare -= 1
        else:
            # Too many are settled with no.
            return NO
    if len(outcomes) == 1 and outcomes[0].value == "unknown":
        return outcomes[0]
    yes = sum([outcome.value == "yes" for outcome in outcomes])
    return Outcome("yes" if yes >= needed else "unknown", parts=tuple(outcomes))


def _not(rule: Not, ruling: Ruling, sides: Sides) -> Outcome:
    inner = ruling.outcome(rule.negated, sides)
    if inner.value == "yes":
        return NO
    value: Three = "yes" if inner.value == "no" else "unknown"
    return Outcome(value, Words(missing=inner.missing))


def _unless(rule: Unless, ruling: Ruling, sides: Sides) -> Outcome:
    excused = ruling.outcome(rule.unless, sides).value == "yes"
    return NO if excused else ruling.outcome(rule.then, sides)


def _is(leaf: Is, judge: Judge, sides: Sides) -> Outcome:
    asked = _asked_sides(leaf, judge, sides)
    verdicts = [(side, judge.criterion(leaf.criterion, leaf.item, side)) for side in asked]
    return _side_outcome(leaf, judge, verdicts)


RULINGS: dict[type, Callable[[Ruling, Any, Sides], Outcome]] = {
    Ask: lambda ruling, rule, _sides: _question(rule.ask, ruling.judge),
    Is: lambda ruling, rule, sides: _is(rule, ruling.judge, sides),
    ContextIs: lambda ruling, rule, sides: _context(
        rule.context, ruling.judge.record.context, sides
    ),
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


def _question(name: str, judge: Judge) -> Outcome:
    label = judge.protocol.history_by_id[name].label
    answer = judge.record.context.answer(name)
    if answer == "yes":
        return Outcome("yes", Words(met=(label,), ids=frozenset((name,))))
    if answer == "no":
        return NO
    return Outcome("unknown", Words(missing=(label,)))


def _side_outcome(leaf: Is, judge: Judge, verdicts: list[tuple[str, Verdict]]) -> Outcome:
    item = judge.protocol.by_id.get(leaf.item)
    label = _label(leaf.item, judge.protocol)
    # A finding within error of a threshold counts for a flag: the safe way to be wrong.
    met = [(s, v) for s, v in verdicts if v.state in (State.MET, State.SOFT)]
    if len(met) >= (len(verdicts) if leaf.sides == "both" else 1) and met:
        side, verdict = met[0]
        where = f"{side} " if item and item.paired and leaf.sides != "both" else ""
        found = f"{where}{label}: {verdict.because}"
        return Outcome("yes", Words(met=(found,), ids=_speaking(leaf)))
    if _settled_no(leaf, verdicts):
        return NO
    return Outcome("unknown", Words(missing=(label,)) if leaf.ask_for else SILENT)


def _label(name: str, protocol: Protocol) -> str:
    target = (
        protocol.by_id.get(name)
        or protocol.history_by_id.get(name)
        or protocol.vitals_by_id.get(name)
    )
    assert target is not None, "words were resolved when the rules were loaded"
    return target.label


def _speaking(leaf: Is) -> frozenset[str]:
    """An answer of no may settle a rule, but it never calls for a flag."""
    denied = isinstance(leaf.criterion, Answer) and "yes" not in leaf.criterion.values
    return frozenset() if denied else frozenset((leaf.item,))


def _settled_no(leaf: Is, verdicts: list[tuple[str, Verdict]]) -> bool:
    """Both sides are asked for and one is known not to be so; or every side is known."""
    if leaf.sides == "both" and any(v.state is State.NOT_MET for _, v in verdicts):
        return True
    return all(verdict.known for _, verdict in verdicts)


def _context(test: ContextTest, context: Context, sides: tuple[str, ...]) -> Outcome:
    results = [_context_test(name, wanted, context, sides) for name, wanted in test if wanted]
    if any(value == "no" for value, _ in results):
        return NO
    if unknown := tuple(word for value, word in results if value == "unknown"):
        return Outcome("unknown", Words(missing=unknown))
    return Outcome("yes", Words(met=tuple(word for _, word in results)))


def _context_test(
    name: str, wanted: Any, context: Context, sides: tuple[str, ...]
) -> tuple[Three, str]:
    match name:
        case "age_at_least":
            return _compare(context.age, lambda age: age >= wanted, f"age {wanted} or over")
        case "age_below":
            return _compare(context.age, lambda age: age < wanted, f"age under {wanted}")
        case "duration_weeks_below":
            weeks = context.duration_weeks
            return _compare(weeks, lambda w: w < wanted, f"less than {wanted:g} weeks")
        case "duration_weeks_over":
            weeks = context.duration_weeks
            return _compare(weeks, lambda w: w > wanted, f"more than {wanted:g} weeks")
        case "pain_at_least":
            return _compare(context.pain_0_10, lambda pain: pain >= wanted, "pain")
        case "onset":
            return _compare(context.onset, lambda onset: onset == wanted, f"{wanted} onset")
        case "known":
            hit = any(getattr(getattr(context.known, s), wanted) for s in sides if s != "midline")
            return ("yes" if hit else "no"), f"known {wanted}"
        case "complaint":
            hit = any(side in context.complaint for side in sides)
            return ("yes" if hit else "no"), "a complaint"
        case "sex":
            return _compare(context.sex, lambda sex: sex == wanted, wanted)
        case "complaint_both":
            return ("yes" if len(context.complaint) == 2 else "no"), "both sides complain"
    raise AssertionError(f"no test called {name}")


def _compare(value: Any, holds: Any, word: str) -> tuple[Three, str]:
    if value is None:
        return "unknown", word
    return ("yes" if holds(value) else "no"), word
