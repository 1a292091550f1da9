"""What calls for an item: its rule in plain words, whether it can ever come true, and the table.

`python -m tests.knowledge.called_for` writes docs/called-for.md again from the protocol.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from pydantic import TypeAdapter

from sidewise.protocol import Item, Protocol
from sidewise.protocol.visits import seconds_of
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
from tests.shoulder import PROTOCOL

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "called-for.md"
MOST_SECONDS = 12 * 60
"""The longest a normal examination may be, in seconds of the patient's time."""

_RULES: TypeAdapter[Rule] = TypeAdapter(Rule)
_ALWAYS = {"essential": "always", "flag": "always (a screening look)"}
_BY_CHOICE = "by choice: finer detail, or a second way to ask the same"

CONTEXT = {
    "age_at_least": "age {} or more",
    "age_below": "age under {}",
    "duration_weeks_over": "it began more than {:g} weeks ago",
    "duration_weeks_below": "it began less than {:g} weeks ago",
}

# Why a group is looked at in everybody; our judgement where no source is named.
REASONS = {
    "before touching": "without it nothing after it is fair or safe",
    "exposure": "the two sides can only be compared bare and side by side",
    "the pain": "the place decides what is examined next",
    "at a glance": "seen before anything is touched, at no cost to the patient",
    "front: landmarks": "a step, a swelling or redness cannot be asked for",
    "front: muscles and veins": "a ruptured tendon or full veins are seen at once",
    "side: landmarks and contour": "a dislocation or a palsy changes the outline",
    "all round: skin": "operations, injury, rash and lumps explain or forbid what follows",
    "back: landmarks": "the blades are compared from behind",
    "back: muscle bulk": "wasting tells a nerve or an old tear",
    "back: scapula": "the blade carries the joint",
    "hands": "a thin hand is the sign of a plexus or a lung apex",
    "on effort": "winging is missed at rest",
    "movement": "neck and shoulder pain imitate each other",
    "sternum and clavicle": "the landmarks are felt in order, one finger at a time",
    "coracoid and joint line": "the landmarks are felt in order, one finger at a time",
    "top of the shoulder": "the landmarks are felt in order, one finger at a time",
    "below the acromion": "tendon and bursa are the commonest source of pain",
    "upper humerus": "tendons join here, and a break of the upper arm is felt here",
    "muscles behind": "neck muscle is often the pain that was meant",
    "above the clavicle": "a node or a mass is felt only by a hand in the hollow",
    "the joint as a whole": "heat is the cheapest sign of infection",
    "raising the arm": "active and passive range divide stiff from weak",
    "turning the arm": "outward rotation is the most telling range for stiffness",
    "backwards and across": "completes the active range standing",
    "on the couch": "ten degrees each way show a joint that must not be forced",
    "deltoid and abduction": "resisted movements tell tendon from joint",
    "rotation": "resisted movements tell tendon from joint",
    "elbow and forearm": "resisted movements tell tendon from joint",
    "impingement and arc": "a negative result makes cuff and bursa less likely",
    "cuff weakness and lag": "one test of the commonest tear in everybody",
    "acromioclavicular joint": "used by all of 71 surgeons asked (Sciascia 2012, read)",
    "vessels": "a limb without a pulse cannot wait",
    "reach": "what the patient came for",
    "comfort": "the patient leaves safe and covered",
    "talk": "an examination nobody explains helps nobody",
}


def rule_of(item: Item) -> Rule:
    """The typed rule that calls for an item; ValidationError where it is no rule."""
    assert item.needed_when, item.id
    return _RULES.validate_python(item.needed_when.rule)


def never_called(protocol: Protocol) -> set[str]:
    """Items with a rule that nothing in a full examination can make true.

    Questions, vital signs, context and the items of every examination can be known from the start.
    An item becomes known once its own rule can come true; what is left over waits for itself.
    """
    waiting = {item.id: rule_of(item) for item in protocol.items if item.needed_when}
    known = {item.id for item in protocol.items if item.role != "optional"}
    known |= {*protocol.history_by_id, *protocol.vitals_by_id}
    while opened := {name for name, rule in waiting.items() if can_be_known(rule, known)}:
        known |= opened
        waiting = {name: rule for name, rule in waiting.items() if name not in opened}
    return set(waiting)


def can_be_known(rule: Rule, known: set[str]) -> bool:
    """Whether a rule can come true from what is known, an exception aside."""
    match rule:
        case Ask(ask=name) | Is(item=name):
            return name in known
        case ContextIs():
            return True
        case AllOf(all_of=parts):
            return all(can_be_known(part, known) for part in parts)
        case AnyOf(any_of=parts):
            return any(can_be_known(part, known) for part in parts)
        case AtLeast(at_least=needed, of=parts):
            return sum(can_be_known(part, known) for part in parts) >= needed
        case Not(negated=part) | Unless(then=part):
            return can_be_known(part, known)


def in_words(rule: Rule, protocol: Protocol) -> str:
    """A rule as a reader would say it."""

    def joined(parts: Iterable[Rule], word: str) -> str:
        said = [in_words(part, protocol) for part in parts]
        nested = (f"({part})" if word == " and " and " or " in part else part for part in said)
        return word.join(nested)

    match rule:
        case Ask(ask=name):
            return protocol.history_by_id[name].label
        case Is(item=name, criterion=criterion):
            limits = criterion.model_dump(exclude_defaults=True, exclude={"test"})
            return f"{_label(name, protocol)}{_limits(criterion.test, limits)}"
        case ContextIs(context=test):
            return ", ".join(
                CONTEXT[key].format(value)
                for key, value in test.model_dump(exclude_defaults=True).items()
            )
        case AllOf(all_of=parts):
            return joined(parts, " and ")
        case AnyOf(any_of=parts):
            return joined(parts, " or ")
        case AtLeast(at_least=needed, of=parts):
            return f"at least {needed} of: {joined(parts, '; ')}"
        case Not(negated=part):
            return f"no {in_words(part, protocol)}"
        case Unless(then=part, unless=exception):
            return f"({in_words(part, protocol)}; not if {in_words(exception, protocol)})"


def _label(name: str, protocol: Protocol) -> str:
    return (protocol.by_id.get(name) or protocol.vitals_by_id[name]).label


def _limits(test: str, limits: Mapping[str, object]) -> str:
    said = [f"{key.replace('_', ' ')} {_plain(value)}" for key, value in limits.items() if value]
    found = {"sign": "found", "result": "positive", "place": "marked"}.get(test, test)
    return f" [{'; '.join(said) or found}]"


def _plain(value: object) -> str:
    return ", ".join(map(str, value)) if isinstance(value, list | tuple) else str(value)


def sources(item: Item) -> str:
    """Where the decision to call for an item comes from."""
    said = [b for b in item.basis if b.note.startswith("called for: ")]
    if not item.needed_when:
        return "common practice; our judgement"
    return "; ".join(f"{b.mark.value}: {b.source}" for b in reversed(said))


def table(protocol: Protocol) -> str:
    """The page: one row for every item, in the order of the examination."""
    seconds = sum(item.seconds for item in protocol.items if item.role != "optional")
    rows = [_row(item, protocol) for item in protocol.items]
    head = _HEAD.format(minutes=seconds / 60, seconds=seconds, kinds=kinds_table(protocol))
    return "\n".join([head, *rows, ""])


def kinds_table(protocol: Protocol) -> str:
    """A row for every kind of visit: what it is for, what it has, and how long that takes."""
    rows = []
    for kind in protocol.visits.kinds:
        calls = "; ".join(call.because for call in kind.calls) or "-"
        has = (
            "everything marked always" if kind.is_full
            else ", ".join(protocol.by_id[name].label for name in kind.items or ())
        )  # fmt: skip
        seconds = seconds_of(kind, protocol)
        rows.append(f"| {kind.name} (`{kind.id}`) | {kind.about} | {has} | {calls} | {seconds} |")
    return "\n".join(rows)


def _row(item: Item, protocol: Protocol) -> str:
    if item.needed_when:
        when, why = in_words(rule_of(item), protocol), item.needed_when.because
    elif item.role == "optional":
        when, why = "only by choice", _BY_CHOICE
    else:
        when, why = _ALWAYS[item.role], REASONS[item.group]
    if item.needed_modes:
        when += f" ({', '.join(item.needed_modes)} only)"
    cells = (f"{item.label} (`{item.id}`)", item.stage, when, why, sources(item))
    return "| " + " | ".join(cell.replace("|", "/") for cell in (*cells, str(item.seconds))) + " |"


_HEAD = """# What is always examined, and what is called for

Every full examination has the items marked *always*. The others are wanted only when an answer, a
finding or the age calls for them, or when the examiner chooses. With nothing called for, a whole
examination takes {seconds} seconds ({minutes:.1f} minutes) of the patient's time; the limit is 12
minutes. Seconds count both sides and are our judgement. What is not known calls for nothing and
clears nothing.

This page is made from the protocol by `python -m tests.knowledge.called_for`.

## Kinds of visit

Only the full one has everything marked *always*. The others take at most four minutes, and whatever
is called for (by the table below, by a rule of the kind, or because a red flag for which something
speaks turns on it) is called for in them too. Their notes say in the heading that they are not
full, and name what they left out.

| kind | for | always has | calls for besides, because | seconds |
| --- | --- | --- | --- | --- |
{kinds}

## Items

| item | stage | always, or called for when | why | source | seconds |
| --- | --- | --- | --- | --- | --- |"""


if __name__ == "__main__":
    DOCUMENT.write_text(table(PROTOCOL), encoding="utf-8")
