"""What would tell most next: flags first, then what is worth its time and discomfort."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from sidewise.network import Gains
from sidewise.protocol import Item, Protocol
from sidewise.reason.judging.flags import FlagBook, Meaningless, Withheld
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import Ask, Is, leaves
from sidewise.reason.result import MindChanger, Next, RedFlag
from sidewise.reason.weighing.layout import SIDES, Layout
from sidewise.reason.weighing.step_worth import (
    ExaminationStep,
    Stance,
    after,
    bits_per_minute,
    examination_step,
    in_order,
    stance_of,
    tells_words,
)
from sidewise.record import Record

SHOWN = 8
CORE_MINUTES, CORE_QUESTIONS = 0.5, 10
"""The ten core questions take half a minute; our judgement, as the page says."""
STOPS = ("immediate", "emergency")
"""Urgencies at which nothing more is suggested until the flag is dealt with."""


@dataclass(frozen=True, slots=True)
class Suggestions:
    """Steps in the order in which they are worth doing, or in words why there is none."""

    steps: tuple[Next, ...]
    end: str = ""


def suggest(
    layout: Layout | None,
    gains: Gains | None,
    judge: Judge,
    book: FlagBook,
    flags: tuple[RedFlag, ...],
    withheld_items: Withheld,
) -> Suggestions:
    """Unexamined items in the order in which they are worth examining.

    At a raised emergency none. Items that screen a flag that is not excluded outrank all. Withheld
    items never appear.
    """
    stop = next((f for f in flags if f.status == "raised" and f.urgency in STOPS), None)
    if stop is not None:
        return Suggestions((), f"Stop here: {stop.label}. {stop.do} How fast: {stop.how_fast}.")
    first = tuple(_screens(judge, book, flags, withheld_items))
    if layout is None or gains is None:
        return Suggestions(first[:SHOWN])
    offered = {(entry.item, entry.side) for entry in first}
    rest = _informative(layout, gains, judge, offered, max(SHOWN - len(first), 3))
    found = (*first, *rest)
    return Suggestions(found, "" if found else NOTHING_LEFT)


NOTHING_LEFT = "Nothing left to examine would change the picture."


def open_readings(
    layout: Layout, judge: Judge, withheld_items: Withheld, void: Meaningless
) -> list[int]:
    """Readings of items not yet examined, not withheld, on a side that matters.

    A reading that means nothing while a flag stands, or that speaks only for conditions that mean
    nothing, is not worth doing.
    """
    sides, places = _sides(judge.record), _places(judge.record)
    return [
        number
        for number, seat in enumerate(layout.seats)
        if (item := judge.protocol.by_id.get(seat.reading.item)) is not None
        and seat.side in sides
        and (item.id, seat.side if item.paired else "midline") not in places
        and not withheld_items.wholly(item)
        and not void.why(seat.reading, seat.side)
        and not all(_is_void(name, void) for name in layout.structure.readings[number].parents)
    ]


def _is_void(variable: str, void: Meaningless) -> bool:
    name, _, side = variable.partition(".")
    return void.why_condition(name, side) is not None


def variables_of_interest(layout: Layout, void: Meaningless) -> list[int]:
    """Conditions that could explain the complaint: of the sides that complain (of both if none
    does) and of the whole person. What never makes anybody complain is not worth a minute, nor
    what no figure may be given for."""
    quiet = layout.painless_sides if len(layout.painless_sides) < len(SIDES) else ()
    felt = {c.id for c in layout.conditions.network if any(c.complaint_link)}
    return [
        number
        for number, variable in enumerate(layout.structure.variables)
        if variable.name.partition(".")[2] not in quiet
        and variable.name.partition(".")[0] in felt
        and not _is_void(variable.name, void)
    ]


def _sides(record: Record) -> tuple[str, ...]:
    return (*(record.context.complaint or ("right", "left")), "midline")


def _places(record: Record) -> set[tuple[str, str]]:
    """Where anything is recorded: an item tried and found impossible is not offered again."""
    return {(f.item, f.side) for f in record.findings if f.status != "not examined"}


def _screens(
    judge: Judge, book: FlagBook, flags: tuple[RedFlag, ...], withheld_items: Withheld
) -> Iterator[Next]:
    """What is missing for each flag that is not excluded, each question and item once."""
    rules = {rule.id: rule for rule in book.flags}
    seen: set[tuple[str, str]] = set()
    together = _core_unasked(judge)
    for flag in flags:
        # What nobody has looked at yet is said in one line; it does not outrank everything else.
        if flag.status != "not excluded" or not flag.called_for:
            continue
        asked = {
            leaf.ask if isinstance(leaf, Ask) else leaf.item
            for leaf in leaves(rules[flag.flag].when)
            if isinstance(leaf, Ask | Is)
        }
        for step in _missing(judge, asked, flag, withheld_items):
            # Of a history that nobody has taken, one question alone reads oddly: it is one step.
            entry = _history_first(step, together) if step.item in together else step
            if (entry.item, entry.side) not in seen:
                seen.add((entry.item, entry.side))
                yield entry


def _core_unasked(judge: Judge) -> tuple[str, ...]:
    """The core questions that nobody has asked yet, where they are more than one."""
    answer = judge.record.context.answer
    core = (question.id for question in judge.protocol.history if question.core)
    unasked = tuple(name for name in core if answer(name) == "not asked")
    return unasked if len(unasked) > 1 else ()


def _history_first(step: Next, questions: tuple[str, ...]) -> Next:
    """The core questions as one step, which the page answers with one touch where none is a yes."""
    return replace(
        step,
        item=questions[0],
        label=f"ask the history first: {len(questions)} questions",
        minutes=CORE_MINUTES * len(questions) / CORE_QUESTIONS,
        screens_flag="what must not be missed?",
    )


def _missing(
    judge: Judge, asked: set[str], flag: RedFlag, withheld_items: Withheld
) -> Iterator[Next]:
    """Questions and open items of the flag's own rule among the words that are missing."""
    protocol, missing, places = judge.protocol, set(flag.missing), _places(judge.record)
    for question in protocol.history:
        if question.id in asked and question.label in missing:
            yield Next(
                question.id, "midline", f"ask: {question.label}", None, 0.1, None, 0,
                flag.purpose, "as they are", "at eye level",
            )  # fmt: skip
    for item in protocol.items:
        if item.id not in asked or item.label not in missing or withheld_items.wholly(item):
            continue
        sides = [side for side in _sides(judge.record) if (side == "midline") != item.paired]
        for side in sides:
            if (item.id, side) not in places:
                yield _next(protocol, item, side, flag.purpose)


def _informative(
    layout: Layout, gains: Gains, judge: Judge, offered: set[tuple[str, str]], most: int
) -> Iterator[Next]:
    protocol = judge.protocol
    by_item: dict[str, list[int]] = {}
    for number in gains.readings:
        seat = layout.seats[number]
        by_item.setdefault(f"{seat.reading.item}|{seat.side}", []).append(number)
    steps = []
    for name, gain in gains.best_of(by_item).items():
        item, _, side = name.partition("|")
        if (item, side) not in offered:
            steps.append(examination_step(protocol, protocol.by_id[item], side, gain.bits))
    here = stance_of(judge.record, protocol)
    for step in in_order(steps, here, most):
        yield _telling(protocol, step, here)
        here = after(step, here)


def _next(protocol: Protocol, item: Item, side: str, screens: str | None) -> Next:
    stage = protocol.stage_of(item)
    return Next(
        item=item.id,
        side=side,
        label=_label(protocol, item),
        bits=None,
        minutes=item.seconds / 60,
        bits_per_minute=None,
        soreness=item.soreness,
        screens_flag=screens,
        patient=stage.patient if stage.sets_up else item.patient,
        examiner=item.examiner,
    )


def _telling(protocol: Protocol, step: ExaminationStep, here: Stance) -> Next:
    return replace(
        _next(protocol, step.item, step.side, None),
        bits=step.bits,
        bits_per_minute=bits_per_minute(step, here),
        tells=tells_words(step.bits),
        posture=after(step, here).posture,
    )


def _label(protocol: Protocol, item: Item) -> str:
    """The item's label, with its stage where another stage uses the same words."""
    same = sum(other.label == item.label for other in protocol.items)
    return f"{item.label} ({protocol.stage_of(item)})" if same > 1 else item.label


def mind_changer(layout: Layout, gains: Gains, variable: int) -> MindChanger | None:
    """The unexamined result that would move one condition most, if any could."""
    change = gains.change_of_mind(variable)
    if change is None:
        return None
    seat = layout.seats[change.reading]
    return MindChanger(
        item=seat.reading.item,
        side=seat.side,
        reading=seat.reading.id,
        result="present" if change.present else "absent",
        posterior_if=change.then,
    )
