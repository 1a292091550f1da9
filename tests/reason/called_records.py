"""Small records made from a rule: one that makes it true, one that answers all of it with no."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from sidewise.kinds import kind_of
from sidewise.protocol import Item
from sidewise.protocol import criteria as c
from sidewise.reason.judging.rules import (
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
    leaves,
)
from sidewise.record import Finding
from tests.builders import angle, found, positive
from tests.shoulder import PROTOCOL


@dataclass(frozen=True)
class Wish:
    """Findings and context of one invented record."""

    findings: tuple[Finding, ...] = ()
    context: dict[str, Any] = field(default_factory=dict)

    def with_(self, other: Wish) -> Wish:
        """Both together; the answers of both."""
        history = self.context.get("history", {}) | other.context.get("history", {})
        context = self.context | other.context
        return Wish(self.findings + other.findings, {**context, "history": history})


class Unmade(Exception):
    """This leaf is not made here."""


def wish(rule: Rule) -> Wish:
    """A record that makes the rule true, by the first of its parts that can be made."""
    match rule:
        case Ask(ask=name):
            return Wish(context={"history": {name: "yes"}})
        case ContextIs(context=test):
            return Wish(context=_context(test))
        case Is():
            return Wish(_findings(rule))
        case AllOf(all_of=parts):
            return _together(list(parts))
        case AtLeast(at_least=needed, of=parts):
            return _together(list(parts)[:needed])
        case AnyOf(any_of=parts):
            return _first(list(parts))
        case Unless(then=part):
            return wish(part)
        case Not(negated=part):
            return none(part)
    raise AssertionError(rule)


def _together(parts: list[Rule]) -> Wish:
    made = Wish()
    for part in parts:
        made = made.with_(wish(part))
    return made


def _first(parts: list[Rule]) -> Wish:
    for part in parts:
        try:
            return wish(part)
        except Unmade:
            continue
    raise Unmade


def _context(test: ContextTest) -> dict[str, Any]:
    match test.model_dump(exclude_none=True):
        case {"age_at_least": int(age)}:
            return {"age": age}
        case {"age_below": int(age)}:
            return {"age": age - 1}
        case {"duration_weeks_over": float(weeks)}:
            return {"duration_weeks": weeks + 1}
        case {"duration_weeks_below": float(weeks)}:
            return {"duration_weeks": weeks / 2}
    raise Unmade


def _findings(leaf: Is) -> tuple[Finding, ...]:
    match leaf.criterion:
        case c.SideLoss(mode=mode) | c.SideGain(mode=mode):
            return angle(leaf.item, "left", 5, mode), angle(leaf.item, "right", 85, mode)
        case c.ActiveGap():
            return tuple(
                angle(leaf.item, "left", d, m) for d, m in ((20, "active"), (90, "passive"))
            )
    return (_finding(leaf),)


def _finding(leaf: Is) -> Finding:
    item = PROTOCOL.by_id.get(leaf.item)
    side = "left" if item and item.paired else "midline"
    match leaf.criterion:
        case c.Sign() if item:
            return found(item.id, side, "sign", grade=item.kind("sign").grades[-1])  # type: ignore[union-attr]
        case c.Power() if item:
            return found(item.id, side, "mrc", grade="3")
        case c.Tender() if item:
            return found(item.id, side, "tenderness", grade=3)
        case c.Result(aspect=aspects, where=where) if item:
            more = {"where": where[0]} if where else {}
            return positive(item.id, side, **dict.fromkeys(aspects[:1], True), **more)
        case c.OneOf(values=values) if item and (limits := item.kind("choice")):
            many = getattr(limits, "several", False)
            return found(item.id, side, "choice", choice=[values[0]] if many else values[0])
    raise Unmade


def none(rule: Rule) -> Wish:
    """A record that answers every question of the rule with no and finds every item normal."""
    history, findings = {}, []
    for leaf in leaves(rule):
        match leaf:
            case Ask(ask=name):
                history[name] = "no"
            case Is(item=name) if name in PROTOCOL.by_id:
                findings += _normal(PROTOCOL.by_id[name])
    once = {finding.place: finding for finding in findings}
    return Wish(tuple(once.values()), {"history": history, "age": None})


def _normal(item: Item) -> list[Finding]:
    for limits in item.kinds:
        value = kind_of(limits).bedside.normal(limits)
        if value is not None:
            sides = ("left", "right") if item.paired else ("midline",)
            return [
                found(item.id, side, limits.kind, mode, **value)
                for side in sides
                for mode in item.modes or (None,)
            ]
    return []
