"""One step: refused in words where it cannot be, otherwise what it finds.

A thing is found where it is, and only by whoever looks there: on its side, in its mode, in its
place. What a patient was not made for stays not examined; it is never shown as normal.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.practice.room.advice import hint_text
from sidewise.practice.room.attempt import (
    Ask,
    Attempt,
    Examine,
    Finish,
    Hint,
    HintLevel,
    Measure,
    State,
    Step,
    Taken,
)
from sidewise.practice.room.chart import ONSET, revealed_record
from sidewise.practice.room.costs import QUESTION_SECONDS, VITAL_SECONDS, step_cost
from sidewise.practice.room.place import Room, flag_choices, modes_done, places_of, verb_of
from sidewise.protocol import Item
from sidewise.protocol.model import nearest_names
from sidewise.reason.interpretation import knowledge_version
from sidewise.reason.judging.flags import flag_book_of, red_flags, withheld
from sidewise.reason.judging.judge import Judge
from sidewise.record import Finding
from sidewise.record.line.writer import write_line

MOST_STEPS = 600
NOT_MADE = "this patient was not made for it, and it stays not examined"
TOUCHING = ("feel", "move", "test")


def begin_attempt(room: Room, hints: HintLevel = "none") -> Attempt:
    """An attempt at which nothing was done yet."""
    return Attempt(
        case=room.hidden.id,
        case_hash=room.case.case_hash,
        region=room.region.id,
        knowledge_version=knowledge_version(room.region),
        program_version=__version__,
        hints=hints,
    )


def take_step(room: Room, attempt: Attempt, step: Step) -> Attempt:
    """The attempt with one more step; UserError where it cannot be taken, and nothing changes."""
    if attempt.case_hash != room.case.case_hash:
        raise UserError("attempt", attempt.case, f"an attempt at {room.hidden.id}",
                        "Open the case that it belongs to.")  # fmt: skip
    if attempt.finished:
        raise UserError("step", step.do, "nothing after the end", "Begin a new attempt.")
    if len(attempt.taken) >= MOST_STEPS:
        raise UserError("step", len(attempt.taken) + 1, f"at most {MOST_STEPS} steps",
                        "Finish the attempt.")  # fmt: skip
    return attempt.model_copy(update={"taken": (*attempt.taken, _outcome(room, attempt, step))})


def _outcome(room: Room, attempt: Attempt, step: Step) -> Taken:
    match step:
        case Ask():
            return _asked(room, attempt, step)
        case Measure():
            return _measured(room, attempt, step)
        case Examine():
            return _examined(room, attempt, step)
        case State():
            return _statement(room, step)
        case Hint():
            return Taken(step=step, said=hint_text(room, attempt, step.kind))
        case Finish():
            return _ending(room, attempt, step)
    raise AssertionError(step)


def _asked(room: Room, attempt: Attempt, step: Ask) -> Taken:
    known = {ONSET: "how it began"} | {one.id: one.label for one in room.protocol.history}
    if step.question not in known:
        raise UserError("ask", step.question, "a question of the history",
                        nearest_names(step.question, known))  # fmt: skip
    if any(isinstance(one.step, Ask) and one.step.question == step.question
           for one in attempt.taken):  # fmt: skip
        raise UserError("ask", step.question, "a question not asked yet", "It was answered above.")
    context = room.hidden.context
    if step.question == ONSET:
        answer = str(context.onset or "")
        said = f"It came {'all at once' if answer == 'sudden' else 'bit by bit'}."
    else:
        # Not drawn for this patient: neither a yes nor a no may be made of it.
        answer = context.history.get(step.question, "unsure")
        said = {"yes": "Yes.", "no": "No."}.get(answer, "I could not say.")
    return Taken(step=step, seconds=QUESTION_SECONDS, answer=answer, said=said)


def _measured(room: Room, attempt: Attempt, step: Measure) -> Taken:
    there = room.hidden.context.vitals
    if step.vital not in room.protocol.vitals_by_id:
        raise UserError("measure", step.vital, "a vital sign",
                        nearest_names(step.vital, room.protocol.vitals_by_id))  # fmt: skip
    if step.vital not in there:
        raise UserError("measure", step.vital, f"one of {', '.join(sorted(there))}",
                        "No other was made for this patient; it stays not measured.")  # fmt: skip
    if any(isinstance(one.step, Measure) and one.step.vital == step.vital
           for one in attempt.taken):  # fmt: skip
        raise UserError("measure", step.vital, "one not measured yet", "It stands above.")
    sign = room.protocol.vitals_by_id[step.vital]
    said = f"{sign.label} {there[step.vital]:g} {sign.unit}"
    return Taken(step=step, seconds=VITAL_SECONDS, answer=str(there[step.vital]), said=said)


def _examined(room: Room, attempt: Attempt, step: Examine) -> Taken:
    item = _item(room, step)
    _check_part(item, step)
    _check_order(room, attempt, step)
    _check_not_done(attempt, item, step)
    _check_not_withheld(room, attempt, item, step)
    cost = step_cost(room, attempt, step)
    there = tuple(_there(room, item, step))
    if not there:
        return Taken(step=step, said=f"{item.label}: {NOT_MADE}.")
    seen = tuple(one for one in there if _is_seen(one, step))
    said = "; ".join(write_line(one, room.region) for one in seen)
    nothing = f"{item.label}: nothing at {step.place}; elsewhere it was not looked for"
    return Taken(step=step, seconds=cost.seconds, soreness=cost.soreness, findings=seen,
                 said=said or nothing)  # fmt: skip


def _item(room: Room, step: Examine) -> Item:
    known = room.protocol.by_id
    if step.item not in known:
        raise UserError(step.do, step.item, "an item of the protocol",
                        nearest_names(step.item, known))  # fmt: skip
    item = known[step.item]
    verb = verb_of(room.protocol, item)
    if step.do != verb:
        raise UserError(item.label, step.do, verb, f'It is found so: "{verb}".')
    return item


def _check_part(item: Item, step: Examine) -> None:
    if item.paired and not step.side:
        raise UserError(item.label, None, "left, right or both", "Say which side.")
    if not item.paired and step.side:
        raise UserError(item.label, step.side, "no side", "It is of the whole person.")
    if step.mode is not None and step.mode not in item.modes:
        ways = ", ".join(item.modes) or "no mode"
        raise UserError(item.label, step.mode, ways, "It is not done so.")
    places = places_of(item)
    if step.place is not None and step.place not in places:
        raise UserError(item.label, step.place, f"one of {', '.join(places) or 'no places'}",
                        "Without a place all of them are looked at.")  # fmt: skip


def _check_order(room: Room, attempt: Attempt, step: Examine) -> None:
    if step.do not in TOUCHING:
        return
    done = {one.step.item for one in attempt.taken if isinstance(one.step, Examine)}
    missing = [name for name in room.to_see_to_first if name not in done]
    if missing:
        labels = ", ".join(room.protocol.item(name).label for name in missing)
        raise UserError(f"before you {step.do}", f"not yet: {labels}", "these first",
                        "Nobody is touched before it.")  # fmt: skip


def _check_not_done(attempt: Attempt, item: Item, step: Examine) -> None:
    done = {(f.side, f.mode) for one in attempt.taken for f in one.findings if f.item == item.id}
    wanted = {(side, mode) for side in _sides(step) for mode in modes_done(item, step.mode)}
    if done and wanted <= done:
        raise UserError(item.label, "the same again", "something not examined yet",
                        "It stands above; again it only costs the patient.")  # fmt: skip


def _check_not_withheld(room: Room, attempt: Attempt, item: Item, step: Examine) -> None:
    book = flag_book_of(room.region)
    judge = Judge(room.protocol, revealed_record(room, attempt))
    kept_back = withheld(red_flags(judge, book), book)
    for mode in modes_done(item, step.mode):
        if why := kept_back.why(item, mode):
            raise UserError(item.label, step.do, "what a raised flag allows", f"{why}.")


def _sides(step: Examine) -> tuple[str, ...]:
    if step.side == "both":
        return ("right", "left")
    return (step.side or "midline",)


def _there(room: Room, item: Item, step: Examine) -> Iterator[Finding]:
    """What there is where the step looks, whatever its place."""
    for mode in modes_done(item, step.mode):
        for side in _sides(step):
            yield from room.hidden.at(item.id, side, mode)


def _is_seen(finding: Finding, step: Examine) -> bool:
    """Whether somebody who looks at this place alone sees it. Nothing is recorded of the rest."""
    if step.place is None or finding.value is None:
        return True
    value: Any = finding.value
    return getattr(value, "place", None) == step.place


def _statement(room: Room, step: State) -> Taken:
    _check_groups(room, step.chances)
    _check_flags(room, step.not_to_miss)
    if step.next_item and step.next_item not in {
        *room.protocol.by_id, *room.protocol.history_by_id
    }:  # fmt: skip
        raise UserError("next", step.next_item, "an item or a question",
                        nearest_names(step.next_item, room.protocol.by_id))  # fmt: skip
    said = ", ".join(f"{name} {chance:.0%}" for name, chance in step.chances.items())
    return Taken(step=step, said=said)


def _ending(room: Room, attempt: Attempt, step: Finish) -> Taken:
    _check_groups(room, step.chances)
    _check_flags(room, step.flags)
    stated = {**attempt.stated, **step.chances}
    missing = [group.id for group in room.groups if group.id not in stated]
    if missing:
        # What was not said is not zero.
        raise UserError("finish", f"no chance of {', '.join(missing)}", "a chance of each group",
                        "State the chance of each once before the end.")  # fmt: skip
    return Taken(step=step, said="The end.")


def _check_groups(room: Room, chances: dict[str, float]) -> None:
    known = {group.id: group.label for group in room.groups}
    for name in chances:
        if name not in known:
            raise UserError("chances", name, f"one of {', '.join(known)}",
                            nearest_names(name, known))  # fmt: skip


def _check_flags(room: Room, flags: tuple[str, ...]) -> None:
    known = dict(flag_choices(room.region))
    for name in flags:
        if name not in known:
            raise UserError("flags", name, "a flag of the region", nearest_names(name, known))
