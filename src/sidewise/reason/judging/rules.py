"""Rules over findings, history, vital signs and context, in three values: yes, no, unknown.

A rule is data: all of, any of, at least n of, not, unless, or one leaf. An unknown leaf keeps the
rule unknown unless the known ones settle it, so that nothing unexamined is ever read as normal.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from sidewise.ground.frozen import Frozen
from sidewise.protocol import Protocol
from sidewise.protocol.criteria import Criterion
from sidewise.protocol.fits import misfit


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
    known: Literal["tear", "surgery", "replacement", "arthritis", "dislocation"] | None = None
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


def below_zero(rule: Rule) -> list[Cutoff]:
    """Thresholds below zero: nothing that a rule measures can be told from them."""
    return [c for c in cutoffs(rule) if _is_number(c.value) and float(c.value) < 0]


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


def made_one(rule: Rule, known: dict[Any, Any]) -> Rule:
    """The rule, of equal parts and criteria always the same object: each is then judged once.

    known: what was met before, by itself; shared by all rules of a book.
    """
    changes: dict[str, Any] = {}
    match rule:
        case Is(criterion=criterion):
            changes["criterion"] = known.setdefault(criterion, criterion)
        case AllOf(all_of=parts):
            changes["all_of"] = tuple(made_one(part, known) for part in parts)
        case AnyOf(any_of=parts):
            changes["any_of"] = tuple(made_one(part, known) for part in parts)
        case AtLeast(of=parts):
            changes["of"] = tuple(made_one(part, known) for part in parts)
        case Not(negated=part):
            changes["negated"] = made_one(part, known)
        case Unless(then=part, unless=exception):
            changes["then"] = made_one(part, known)
            changes["unless"] = made_one(exception, known)
        case Ask() | ContextIs():
            leaf: Rule = known.setdefault(rule, rule)
            return leaf
    key = _shallow_key(rule, changes)
    if key not in known:
        known[key] = rule.model_copy(update=changes)
    found: Rule = known[key]
    return found


def _shallow_key(rule: Rule, made: dict[str, Any]) -> tuple[Any, ...]:
    # Equal parts are one object by now, and `known` keeps each: which object says which part. To
    # hash the rule itself would hash everything below it again at every level.
    fields = {**rule.__dict__, **made}
    return (type(rule), *((name, _token(part)) for name, part in fields.items()))


def _token(part: Any) -> Any:
    if isinstance(part, tuple):
        return tuple(map(id, part))
    return id(part) if isinstance(part, Frozen) else part
