"""The items that a plan may hold: what they cost, what they are worth and where they belong."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.plan.outlook import Outlook
from sidewise.plan.problem import (
    CALLED,
    FLAG,
    TELLING,
    UNITS_A_BIT,
    PlanProblem,
    PlanStance,
    PlanTask,
)
from sidewise.protocol import Item
from sidewise.reason.weighing.step_worth import (
    POSTURES,
    ExaminationStep,
    examination_step,
    is_worth_doing,
    stance_of,
)

PLACES = {
    "in front": re.compile(r"\bin front|\bfacing|\bopposite"),
    "behind": re.compile(r"\bbehind"),
    "beside": re.compile(r"\bbeside|\bside\b|\boutside"),
    "at the head": re.compile(r"\bhead end"),
}
"""Where the examiner stands first, by the words of the item."""
SORE = 2
"""From this soreness on a manoeuvre provokes: it comes after everything else (our judgement)."""


@dataclass(frozen=True)
class Candidate:
    """An item that may be planned, for both sides at once.

    bits: what its readings on the sides that complain can be expected to tell, each as if alone.
    readings: their numbers in the network. because: the flag or the reason that asks for it.
    """

    item: Item
    tier: int
    bits: float
    readings: tuple[int, ...]
    family: str
    because: str


def set_up_items(view: Outlook) -> tuple[tuple[Item, ...], tuple[Item, ...]]:
    """What every kind of visit begins and ends with and is not recorded yet: before and after."""
    protocol, done = view.protocol, _recorded(view)
    always = [
        item
        for item in protocol.items
        if protocol.stage_of(item).sets_up
        and item.id not in done
        and all(kind.has(item) for kind in protocol.visits.kinds)
    ]
    first = protocol.stages[0].id
    before = tuple(item for item in always if item.stage == first)
    return before, tuple(item for item in always if item.stage != first)


def candidates(view: Outlook) -> tuple[Candidate, ...]:
    """Every item that is open, not withheld, and asked for or worth its time, in taught order."""
    done, screens, told = _recorded(view), _screens(view), _told(view)
    found = []
    for item in view.protocol.items:
        if view.protocol.stage_of(item).sets_up or item.id in done or view.withheld.wholly(item):
            continue
        bits, readings = told.get(item.id, (0.0, ()))
        family = _family(view, readings)
        if item.id in screens:
            found.append(Candidate(item, FLAG, bits, readings, family, screens[item.id]))
        elif item.id in view.called:
            found.append(Candidate(item, CALLED, bits, readings, family, view.called[item.id]))
        elif is_worth_doing(examination_step(view.protocol, item, "", bits)):
            found.append(Candidate(item, TELLING, bits, readings, family, ""))
    return tuple(found)


def _recorded(view: Outlook) -> set[str]:
    """Items of which anything is recorded, or tried and found impossible, on every open side."""
    sides = set(view.record.context.complaint or ("left", "right"))
    seen: dict[str, set[str]] = {}
    for finding in view.record.findings:
        if finding.status != "not examined":
            seen.setdefault(finding.item, set()).add(finding.side)
    return {name for name, there in seen.items() if there >= sides or "midline" in there}


def _screens(view: Outlook) -> dict[str, str]:
    """Items that screen a flag: those every examination looks at, and what a flag waits for."""
    found = {item.id: "a screening look" for item in view.protocol.items if item.role == "flag"}
    for flag in view.flags:
        if flag.status == "not excluded" and flag.called_for:
            missing = set(flag.missing)
            for item in view.protocol.items:
                if item.label in missing:
                    found[item.id] = flag.purpose
    return found


def _told(view: Outlook) -> dict[str, tuple[float, tuple[int, ...]]]:
    """For each item the bits of the best reading of each side, and those readings."""
    if view.expected is None:
        return {}
    gains, seats = view.expected.gains, view.expected.weighing.layout.seats
    by_place: dict[str, list[int]] = {}
    for number in gains.readings:
        by_place.setdefault(f"{seats[number].reading.item}|{seats[number].side}", []).append(number)
    found: dict[str, tuple[float, tuple[int, ...]]] = {}
    for place, gain in gains.best_of(by_place).items():
        item = place.partition("|")[0]
        bits, readings = found.get(item, (0.0, ()))
        found[item] = (bits + gain.bits, (*readings, gain.reading))
    return found


def _family(view: Outlook, readings: tuple[int, ...]) -> str:
    if view.expected is None or not readings:
        return ""
    return view.expected.weighing.layout.seats[readings[0]].reading.family or ""


def plan_problem(view: Outlook, found: tuple[Candidate, ...], seconds: int) -> PlanProblem:
    """The candidates as tasks; seconds: what is left for them."""
    steps = [examination_step(view.protocol, one.item, "", one.bits) for one in found]
    tasks = tuple(_task(view, one, step) for one, step in zip(found, steps, strict=True))
    start = PlanStance(stance_of(view.record, view.protocol).posture, "in front")
    return PlanProblem(tasks, seconds, start)


def _task(view: Outlook, one: Candidate, step: ExaminationStep) -> PlanTask:
    return PlanTask(
        name=one.item.id,
        seconds=one.item.seconds,
        units=round(one.bits * UNITS_A_BIT),
        family=one.family,
        tier=one.tier,
        block=_block(view, one, step),
        soreness=one.item.soreness,
        stances=frozenset(
            PlanStance(posture, place)
            for posture in step.postures or POSTURES
            for place in _places(one.item.examiner)
        ),
    )


def _block(view: Outlook, one: Candidate, step: ExaminationStep) -> tuple[int, int]:
    """Stages in order, in each flags, then what is called for, then the rest, sore ones last.

    What provokes comes after all stages, the sorest last.
    """
    sore = one.item.soreness
    if one.item.kind("result") is not None and sore >= SORE:
        return len(view.protocol.stages), sore
    if one.tier != TELLING:
        return step.stage, one.tier
    return step.stage, TELLING + (sore if sore >= SORE else 0)


def _places(words: str) -> tuple[str, ...]:
    text = words.lower()
    first = [(found.start(), name) for name, word in PLACES.items() if (found := word.search(text))]
    return (min(first)[1],) if first else tuple(PLACES)


def asked_of_flags(view: Outlook) -> Iterator[str]:
    """Questions that a flag which is called for still waits for, in the order of the flags."""
    labels = {question.label for question in view.protocol.history}
    seen: set[str] = set()
    for flag in view.flags:
        if flag.status == "not excluded" and flag.called_for:
            for label in flag.missing:
                if label in labels and label not in seen:
                    seen.add(label)
                    yield label
