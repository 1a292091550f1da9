"""How one flag stands on a record: raised, not excluded and called for, or merely open."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, Protocol

from sidewise.reason.judging.rules import Rule
from sidewise.reason.judging.ruling import Outcome, Ruling
from sidewise.reason.judging.truth import YES

NOT_SETTLED = "recorded twice, differently: not settled yet"
BOTH = ("left", "right")


class FlagLike(Protocol):
    """As much of a flag's rule as is needed to judge it."""

    @property
    def scope(self) -> Literal["side", "person"]: ...
    @property
    def when(self) -> Rule: ...
    @property
    def called_for_by(self) -> Rule | None: ...
    @property
    def beside(self) -> tuple[str, ...]: ...
    @property
    def asks(self) -> tuple[str, ...]: ...


@dataclass(frozen=True, slots=True)
class FlagState:
    """What a flag's rule comes to, for whatever reason; of a raised one on which sides."""

    status: Literal["raised", "not excluded"]
    called_for: bool
    because: tuple[str, ...]
    missing: tuple[str, ...] = ()
    sides: tuple[str, ...] = ()


def flag_state(rule: FlagLike, ruling: Ruling, ordinary: frozenset[str]) -> FlagState | None:
    """The flag's state, or None where nothing that is still open could raise it."""
    groups = [(side,) for side in BOTH] if rule.scope == "side" else [BOTH]
    outcomes = [ruling.outcome(rule.when, sides) for sides in groups]
    if raised := [outcome for outcome in outcomes if outcome.value == "yes"]:
        sides = BOTH if rule.scope == "person" else tuple(_raised_sides(outcomes, ruling))
        return FlagState("raised", True, _reasons(raised), sides=sides)
    possible = [outcome for outcome in outcomes if outcome.value == "unknown"]
    if not possible:
        return None
    return _not_excluded(rule, possible, ruling, ordinary)


def _raised_sides(outcomes: list[Outcome], ruling: Ruling) -> Iterator[str]:
    """The sides that a raised flag speaks of: where something was found, and that complain.

    Where only answers raise it, they name no side: those that complain, or both where none does.
    """
    raised = {s: o for s, o in zip(BOTH, outcomes, strict=True) if o.value == "yes"}
    complaint = [side for side in raised if side in ruling.judge.record.context.complaint]
    found = [side for side, outcome in raised.items() if side in outcome.sides]
    spoken_of = {*found, *complaint} or set(raised)
    yield from (side for side in BOTH if side in spoken_of)


def _reasons(raised: list[Outcome]) -> tuple[str, ...]:
    met = dict.fromkeys(word for outcome in raised for word in outcome.met)
    settled = any(outcome.truth.undisputed for outcome in raised)
    return tuple(met) if settled else (*met, NOT_SETTLED)


def _not_excluded(
    rule: FlagLike, possible: list[Outcome], ruling: Ruling, ordinary: frozenset[str]
) -> FlagState:
    """Called for by something out of the ordinary, by its own rule, or by a doubt that would do.

    Where only core questions are still to be asked, those alone are missing.
    """
    missing = tuple(dict.fromkeys(word for one in possible for word in one.missing))
    alone = ordinary | frozenset(rule.beside)
    speaks = any(one.words - alone or one.truth.high == YES for one in possible)
    if speaks or _called(rule, ruling):
        spoken = (word for one in possible for word in (*one.met, *one.doubts))
        return FlagState("not excluded", True, tuple(dict.fromkeys(spoken)), missing)
    questions = ruling.judge.protocol.history_by_id
    asks = (questions[name] for name in rule.asks if name not in rule.beside)
    core = {question.label for question in asks if question.core}
    unasked = tuple(word for word in missing if word in core)
    return FlagState("not excluded", bool(unasked), (), unasked or missing)


def _called(rule: FlagLike, ruling: Ruling) -> bool:
    if rule.called_for_by is None:
        return False
    return ruling.outcome(rule.called_for_by, BOTH).truth.high == YES
