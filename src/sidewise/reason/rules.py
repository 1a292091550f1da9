"""Rules over findings, history, vital signs and context, in three values: yes, no, unknown.

A rule is data: all of, any of, at least n of, not, unless, or one leaf. An unknown leaf keeps the
rule unknown unless the known ones settle it, so that nothing unexamined is ever read as normal.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from sidewise.protocol import Protocol
from sidewise.protocol.criteria import Answer, Criterion
from sidewise.protocol.fits import misfit
from sidewise.protocol.kinds import Frozen
from sidewise.reason.judge import Judge, State, Verdict
from sidewise.record import Context

Three = Literal["yes", "no", "unknown"]


class Ask(Frozen):
    """A history question answered yes."""

    ask: str


class Is(Frozen):
    """An item, question or vital sign that meets a criterion.

    On which of the rule's sides: any of them, both, or any that the patient complains of (any
    at all where no complaint is recorded). With `ask_for` false it counts when found, but nobody
    is sent to look for it: a flag never names it as missing.
    """

    item: str
    criterion: Criterion = Field(alias="is")
    sides: Literal["any", "both", "complaint"] = "any"
    ask_for: bool = True


class ContextIs(Frozen):
    """Something of the context: age, duration, onset, pain, complaint, known surgery."""

    context: ContextTest


class ContextTest(Frozen):
    """The tests a context leaf may make; exactly those given must hold."""

    age_at_least: int | None = None
    age_below: int | None = None
    duration_weeks_below: float | None = None
    duration_weeks_over: float | None = None
    pain_at_least: float | None = None
    onset: Literal["sudden", "gradual"] | None = None
    known: Literal["tear", "surgery", "replacement"] | None = None
    complaint: bool | None = None
    complaint_both: bool | None = None
    sex: Literal["female", "male"] | None = None


class AllOf(Frozen):
    """Every one of these."""

    all_of: tuple[Rule, ...] = Field(min_length=1)


class AnyOf(Frozen):
    """One or more of these."""

    any_of: tuple[Rule, ...] = Field(min_length=1)


class AtLeast(Frozen):
    """At least so many of these."""

    at_least: int = Field(ge=1)
    of: tuple[Rule, ...]

    @model_validator(mode="after")
    def _reachable(self) -> AtLeast:
        if self.at_least > len(self.of):
            raise ValueError("at_least: more than there are rules")
        return self


class Not(Frozen):
    """The opposite of a rule; unknown stays unknown."""

    negated: Rule = Field(alias="not")


class Unless(Frozen):
    """A rule that a known exception settles with no; an exception not known does not hold back."""

    then: Rule
    unless: Rule


KEYS = ("ask", "item", "context", "all_of", "any_of", "at_least", "not", "then")
"""The word that tells each kind of rule from the others, in the order of `Rule`."""


def _kind(data: Any) -> str | None:
    """Which kind of rule the data is meant to be, so that a slip is named where it stands."""
    if not isinstance(data, dict):
        # A rule that is already made: its field names, as they are spelt in a file.
        data = data.model_dump(by_alias=True)
    return next((key for key in KEYS if key in data), None)


Rule = Annotated[
    Annotated[Ask, Tag("ask")]
    | Annotated[Is, Tag("item")]
    | Annotated[ContextIs, Tag("context")]
    | Annotated[AllOf, Tag("all_of")]
    | Annotated[AnyOf, Tag("any_of")]
    | Annotated[AtLeast, Tag("at_least")]
    | Annotated[Not, Tag("not")]
    | Annotated[Unless, Tag("then")],
    Discriminator(_kind),
]
for _model in (ContextIs, AllOf, AnyOf, AtLeast, Not, Unless):
    _model.model_rebuild()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule comes to, which leaves speak for it, and which could not be known.

    `words` are the ids of the items and questions that speak for it.
    """

    value: Three
    met: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    words: frozenset[str] = frozenset()


def leaves(rule: Rule) -> Iterator[Ask | Is | ContextIs]:
    """Every leaf of a rule, in order."""
    match rule:
        case Ask() | Is() | ContextIs():
            yield rule
        case AllOf(all_of=parts) | AnyOf(any_of=parts) | AtLeast(of=parts):
            for part in parts:
                yield from leaves(part)
        case Not(negated=part):
            yield from leaves(part)
        case Unless(then=part, unless=exception):
            yield from leaves(part)
            yield from leaves(exception)


@dataclass(frozen=True, slots=True)
class Cutoff:
    """A figure that a rule turns on: what it is read from, and the number or grade."""

    what: str
    value: float | str


TOGETHER = "signs together"
"""What the number of an "at least n of" is read from."""


def cutoffs(rule: Rule) -> Iterator[Cutoff]:
    """Every number and grade that a rule turns on; a criterion's default is no figure."""
    match rule:
        case Is(item=item, criterion=criterion):
            yield from _limits(item, criterion.model_dump(exclude_defaults=True))
        case ContextIs(context=test):
            for name, limit in test.model_dump(exclude_defaults=True).items():
                yield from _limits(name, {"limit": limit} if _is_number(limit) else {})
        case AtLeast(at_least=needed, of=parts):
            yield Cutoff(TOGETHER, needed)
            for part in parts:
                yield from cutoffs(part)
        case AllOf(all_of=parts) | AnyOf(any_of=parts):
            for part in parts:
                yield from cutoffs(part)
        case Not(negated=part):
            yield from cutoffs(part)
        case Unless(then=part, unless=exception):
            yield from cutoffs(part)
            yield from cutoffs(exception)


def _limits(what: str, fields: dict[str, Any]) -> Iterator[Cutoff]:
    for name, limit in fields.items():
        # Grades of signs and of power are words; every other word names what is looked for.
        if _is_number(limit) or name in ("at_least", "below"):
            yield Cutoff(what, limit)


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def unresolved(rule: Rule, protocol: Protocol) -> list[str]:
    """What the rule speaks of that the protocol does not have, or cannot answer."""
    problems = []
    for leaf in leaves(rule):
        if isinstance(leaf, Ask) and leaf.ask not in protocol.history_by_id:
            problems.append(f"question {leaf.ask}")
        if isinstance(leaf, Is):
            problems += _item_problem(leaf, protocol)
    return problems


def _item_problem(leaf: Is, protocol: Protocol) -> list[str]:
    target = (
        protocol.by_id.get(leaf.item)
        or protocol.history_by_id.get(leaf.item)
        or protocol.vitals_by_id.get(leaf.item)
    )
    if target is None:
        return [f"item {leaf.item}"]
    problem = misfit(leaf.criterion, target)
    return [f"item {leaf.item}: {problem}"] if problem else []


def evaluate(rule: Rule, judge: Judge, sides: tuple[str, ...]) -> Outcome:
    """The rule on the judge's record; a leaf holds if it holds on any of `sides`."""
    match rule:
        case Ask() | Is() | ContextIs():
            return _leaf(rule, judge, sides)
        case AllOf(all_of=parts):
            return _count(parts, len(parts), judge, sides)
        case AnyOf(any_of=parts):
            return _count(parts, 1, judge, sides)
        case AtLeast(at_least=needed, of=parts):
            return _count(parts, needed, judge, sides)
        case Not(negated=part):
            inner = evaluate(part, judge, sides)
            flipped: dict[Three, Three] = {"yes": "no", "no": "yes", "unknown": "unknown"}
            return Outcome(flipped[inner.value], missing=inner.missing)
        case Unless(then=part, unless=exception):
            excused = evaluate(exception, judge, sides).value == "yes"
            return Outcome("no") if excused else evaluate(part, judge, sides)


def _count(parts: tuple[Rule, ...], needed: int, judge: Judge, sides: tuple[str, ...]) -> Outcome:
    outcomes: list[Outcome] = []
    spare = len(parts) - needed
    for part in parts:
        outcomes.append(evaluate(part, judge, sides))
        if outcomes[-1].value == "no":
            spare -= 1
        if spare < 0:
            # Too many are settled with no; what a "no" rests on is never shown.
            return Outcome("no")
    return _together(outcomes, needed)


def _together(outcomes: list[Outcome], needed: int) -> Outcome:
    yes = sum(outcome.value == "yes" for outcome in outcomes)
    possible = yes + sum(outcome.value == "unknown" for outcome in outcomes)
    value: Three = "yes" if yes >= needed else "unknown" if possible >= needed else "no"
    met = tuple(word for o in outcomes if o.value != "no" for word in o.met)
    missing = tuple(word for o in outcomes if o.value == "unknown" for word in o.missing)
    words = frozenset[str]().union(*(o.words for o in outcomes if o.value != "no"))
    return Outcome(value, tuple(dict.fromkeys(met)), tuple(dict.fromkeys(missing)), words)


def _leaf(leaf: Ask | Is | ContextIs, judge: Judge, sides: tuple[str, ...]) -> Outcome:
    if isinstance(leaf, ContextIs):
        return _context(leaf.context, judge.record.context, sides)
    if isinstance(leaf, Ask):
        return _question(leaf.ask, judge)
    asked = _asked_sides(leaf, judge, sides)
    verdicts = [(side, judge.criterion(leaf.criterion, leaf.item, side)) for side in asked]
    return _side_outcome(leaf, judge, verdicts)


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
        return Outcome("yes", met=(label,), words=frozenset((name,)))
    if answer == "no":
        return Outcome("no")
    return Outcome("unknown", missing=(label,))


def _side_outcome(leaf: Is, judge: Judge, verdicts: list[tuple[str, Verdict]]) -> Outcome:
    item = judge.protocol.by_id.get(leaf.item)
    label = _label(leaf.item, judge.protocol)
    # A finding within error of a threshold counts for a flag: the safe way to be wrong.
    met = [(s, v) for s, v in verdicts if v.state in (State.MET, State.SOFT)]
    if len(met) >= (len(verdicts) if leaf.sides == "both" else 1) and met:
        side, verdict = met[0]
        where = f"{side} " if item and item.paired and leaf.sides != "both" else ""
        found = f"{where}{label}: {verdict.because}"
        return Outcome("yes", met=(found,), words=_speaking(leaf))
    if _settled_no(leaf, verdicts):
        return Outcome("no")
    return Outcome("unknown", missing=(label,) if leaf.ask_for else ())


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
        return Outcome("no")
    if unknown := tuple(word for value, word in results if value == "unknown"):
        return Outcome("unknown", missing=unknown)
    return Outcome("yes", met=tuple(word for _, word in results))


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
