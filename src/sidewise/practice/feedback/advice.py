"""One thing to do differently: the gravest, with how it is done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sidewise.ground.percent import percent
from sidewise.practice.feedback.omissions import ItemLeft, MissedFlag
from sidewise.practice.feedback.partings import ANCHORING, APART, CLOSURE, Parting
from sidewise.practice.room import Attempt, Room, next_suggestions
from sidewise.reason.result import Next

WEIGHED_WRONG = 0.2
"""A chance this far from the warranted one was weighed wrongly (our judgement)."""
LIKELY = 0.5
"""From this chance on a thing is what the learner thinks it is (our judgement)."""


@dataclass(frozen=True, slots=True)
class OneThing:
    """One thing to do differently. item: of the protocol or the history, "" where it is none.

    kind: flag, sides, essential, premature closure, anchoring, soreness, weighing or nothing.
    how: from the protocol, word for word.
    """

    kind: str
    words: str
    item: str = ""
    how: str = ""


def one_thing(
    room: Room,
    attempt: Attempt,
    missed: Sequence[MissedFlag],
    swapped: Sequence[ItemLeft],
    compared: Sequence[ItemLeft],
    essentials: Sequence[ItemLeft],
    parting: Parting | None,
    sore: Sequence[ItemLeft],
    chances: Mapping[str, tuple[float, float]],
    open_flags: int,
) -> OneThing:
    """The first that applies, in this order: what may harm most, then what stops an examination
    too early, what makes its reading wrong, what was left out, and courtesy.

    chances: stated and warranted at the end, by group. open_flags: how many flags what was done
    does not exclude, there or not.
    """
    called = [one for one in essentials if one.why]
    kind = parting.kind if parting is not None else ""
    if missed:
        return _flag(missed[0])
    if swapped:
        return _sides(room, "Examine the side that hurts as well", swapped[0])
    if parting is not None and kind == CLOSURE:
        return _parting(room, attempt, parting)
    if compared:
        return _sides(room, "Compare both sides", compared[0])
    if parting is not None and kind == ANCHORING:
        return _parting(room, attempt, parting)
    if any(_off(pair) >= APART for pair in chances.values()):
        return _weighing(room, attempt, chances)
    if called:
        one = called[0]
        return _of_item(room, "essential", f"Do not leave out: {one.label}. {one.why}", one.item)
    if sore:
        one = sore[0]
        return _of_item(room, "soreness", f"Spare the patient: {one.label}; {one.why}.", one.item)
    if _fits(chances):
        return _nothing(open_flags, len(essentials))
    return _weighing(room, attempt, chances)


def _flag(one: MissedFlag) -> OneThing:
    if one.seen:
        words = f"Name what you found: {one.label} stands by what you recorded. {one.do}"
        return OneThing("flag", words)
    if not one.through:
        return OneThing("flag", f"Look for what must not be missed: {one.label}. {one.do}")
    words = f"Look for what must not be missed: {one.label}, here by {one.through_label}. {one.do}"
    return OneThing("flag", words, one.through, one.how)


def _sides(room: Room, what: str, one: ItemLeft) -> OneThing:
    return _of_item(room, "sides", f"{what}: {one.label} was done on {one.why}.", one.item)


def _parting(room: Room, attempt: Attempt, parting: Parting) -> OneThing:
    label = next(group.label for group in room.groups if group.id == parting.group)
    said, now = percent(parting.stated), percent(parting.warranted)
    if parting.kind == CLOSURE:
        words = (
            f"Before you are sure, look once more: at step {parting.step} you said {said} for "
            f"{label}; the findings so far made it {now}."
        )
    else:
        words = (
            f"Let findings move you: of {label} they went from "
            f"{percent(parting.moved_from or 0.0)} to {now} by step {parting.step}, and you stayed "
            f"at {said}."
        )
    return _with_next(room, attempt.until(parting.step - 1), parting.kind, words)


def _with_next(room: Room, attempt: Attempt, kind: str, words: str) -> OneThing:
    """The words, with what would have told most next and how it is done."""
    step = _telling(next_suggestions(room, attempt))
    if step is None:
        return OneThing(kind, words)
    return _of_item(room, kind, f"{words} Most telling next: {step.label}.", step.item)


def _telling(steps: Sequence[Next]) -> Next | None:
    """What tells most: the first in the order of an examination may be there for a flag."""
    known = [step for step in steps if step.bits is not None]
    return max(known, key=lambda step: step.bits or 0.0, default=None)


def _fits(chances: Mapping[str, tuple[float, float]]) -> bool:
    return all(_off(pair) < WEIGHED_WRONG for pair in chances.values())


def _nothing(open_flags: int, essentials: int) -> OneThing:
    """Chances that fit what was found are no praise for what was not looked for."""
    if not (open_flags or essentials):
        return OneThing("nothing", "Nothing to do differently that the room could tell. Well done.")
    undone = (
        f"essentials not done: {essentials}" if essentials else "",
        f"flags that nobody excluded: {open_flags}" if open_flags else "",
    )
    words = "What you said fits what you found. Of what you did not look for nothing is known"
    return OneThing("nothing", f"{words}: {'; '.join(filter(None, undone))}.")


def _weighing(room: Room, attempt: Attempt, chances: Mapping[str, tuple[float, float]]) -> OneThing:
    if _says_nothing(chances):
        chance = percent(next(iter(chances.values()))[0])
        words = (
            f"Commit yourself: {chance} for everything tells nobody what you think. Of these "
            "groups few are there at once; say which, and how sure you are."
        )
        return _with_next(room, attempt, "weighing", words)
    group, (stated, warranted) = max(chances.items(), key=lambda one: _off(one[1]))
    label = next(one.label for one in room.groups if one.id == group)
    words = (
        f"Weigh again: you said {percent(stated)} for {label}, and what you found makes it "
        f"{percent(warranted)}."
    )
    # Who was surer than the findings had more to look for; who was less sure had it all.
    if stated > warranted:
        return _with_next(room, attempt, "weighing", f"{words} The findings stand below.")
    others = [name for name, (said, _) in chances.items() if name != group and said >= LIKELY]
    if others:
        other = next(one.label for one in room.groups if one.id == others[0])
        words = f"{words} Several may be there at once: that you found {other} does not exclude it."
    return OneThing("weighing", f"{words} The findings stand below.")


def _says_nothing(chances: Mapping[str, tuple[float, float]]) -> bool:
    return len(chances) > 1 and len({stated for stated, _ in chances.values()}) == 1


def _off(pair: tuple[float, float]) -> float:
    return abs(pair[0] - pair[1])


def _of_item(room: Room, kind: str, words: str, item: str) -> OneThing:
    found = room.protocol.by_id.get(item)
    return OneThing(kind, words, item, found.how if found else "")
