"""What the room shows: the items of a stage by group, with what was found on each side."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from sidewise.ground.percent import percent
from sidewise.note.meaning import with_interval
from sidewise.practice.room import CHANCE_WORDS, Attempt, Room, verb_of
from sidewise.practice.room.attempt import Ask, Examine, Measure
from sidewise.practice.room.chart import ONSET
from sidewise.practice.room.place import places_of
from sidewise.protocol import Item
from sidewise.protocol.model import HistoryItem
from sidewise.reason.result import Because, ConditionPosterior
from sidewise.record.line.writer import write_line

HISTORY = "history"


@dataclass(frozen=True, slots=True)
class RoomTab:
    """One stage in the strip."""

    slug: str
    label: str
    done: int
    """How many of its items were examined."""


@dataclass(frozen=True, slots=True)
class ItemLine:
    """One item: what was found at each side, as text; "" where it was not looked for."""

    item: Item
    verb: str
    places: tuple[str, ...]
    right: str
    left: str
    whole: str
    tried: str
    """What was said where nothing could be found."""


@dataclass(frozen=True, slots=True)
class ItemGroup:
    """Items under one heading."""

    title: str
    lines: tuple[ItemLine, ...]


@dataclass(frozen=True, slots=True)
class Answer:
    """A question or a vital sign, and what was answered."""

    id: str
    label: str
    answer: str


def tabs_of(room: Room, attempt: Attempt) -> tuple[RoomTab, ...]:
    """The history and the stages, in their order."""
    done = {t.step.item for t in attempt.taken if isinstance(t.step, Examine)}
    asked = sum(isinstance(t.step, Ask | Measure) for t in attempt.taken)
    stages = (
        RoomTab(stage.slug, str(stage), sum(i.id in done for i in room.protocol.items
                                            if i.stage == stage.id))
        for stage in room.protocol.stages
    )  # fmt: skip
    return (RoomTab(HISTORY, HISTORY, asked), *stages)


@dataclass(frozen=True, slots=True)
class AskedGroup:
    """Questions under one heading; open where one was asked, and the core ones always."""

    title: str
    answers: tuple[Answer, ...]
    is_open: bool


def questions_of(room: Room, attempt: Attempt) -> tuple[AskedGroup, ...]:
    """How it began with the core questions, then every other by its group."""
    given = {t.step.question: t.said for t in attempt.taken if isinstance(t.step, Ask)}

    def answer(one: HistoryItem) -> Answer:
        return Answer(one.id, one.label, given.get(one.id, ""))

    first = Answer(ONSET, "how it began", given.get(ONSET, ""))
    core = (first, *(answer(one) for one in room.protocol.history if one.core))
    others: dict[str, list[Answer]] = {}
    for one in room.protocol.history:
        if not one.core:
            others.setdefault(one.group, []).append(answer(one))
    return (
        AskedGroup("core questions", core, True),
        *(AskedGroup(title, tuple(there), any(one.answer for one in there))
          for title, there in others.items()),
    )  # fmt: skip


def still_first(room: Room, attempt: Attempt) -> tuple[str, ...]:
    """What must still be seen to before anybody is touched, by label."""
    done = {t.step.item for t in attempt.taken if isinstance(t.step, Examine)}
    return tuple(room.protocol.item(n).label for n in room.to_see_to_first if n not in done)


def vitals_of(room: Room, attempt: Attempt) -> tuple[Answer, ...]:
    """Every vital sign."""
    given = {t.step.vital: t.said for t in attempt.taken if isinstance(t.step, Measure)}
    return tuple(Answer(v.id, v.label, given.get(v.id, "")) for v in room.protocol.vitals)


def groups_of(room: Room, attempt: Attempt, slug: str) -> tuple[ItemGroup, ...]:
    """The items of a stage with what was found."""
    stage = next(stage for stage in room.protocol.stages if stage.slug == slug)
    items = (item for item in room.protocol.items if item.stage == stage.id)
    found = _found(room, attempt)
    return tuple(
        ItemGroup(title, tuple(_line(room, item, found) for item in there))
        for title, there in groupby(items, key=lambda item: item.group)
    )


def _found(room: Room, attempt: Attempt) -> dict[tuple[str, str], str]:
    """What was found, by item and side; under the side "" what was said without a finding."""
    texts: dict[tuple[str, str], list[str]] = defaultdict(list)
    for taken in attempt.taken:
        if not isinstance(taken.step, Examine):
            continue
        for finding in taken.findings:
            texts[finding.item, finding.side].append(write_line(finding, room.region))
        if not taken.findings:
            texts[taken.step.item, ""].append(taken.said)
    return {key: "; ".join(there) for key, there in texts.items()}


def _line(room: Room, item: Item, found: dict[tuple[str, str], str]) -> ItemLine:
    right, left, whole, tried = (
        found.get((item.id, side), "") for side in ("right", "left", "midline", "")
    )
    verb = verb_of(room.protocol, item)
    return ItemLine(item, verb, places_of(item), right, left, whole, tried)


@dataclass(frozen=True, slots=True)
class ChanceLine:
    """One group of conditions with what was stated of it last."""

    id: str
    label: str
    percent: int | None
    words: tuple[tuple[str, int], ...]


def chances_of(room: Room, attempt: Attempt) -> tuple[ChanceLine, ...]:
    """Every group with the chance that was stated last; None where nothing was said."""
    words = tuple((word, round(100 * chance)) for word, chance in CHANCE_WORDS.items())
    stated = attempt.stated
    return tuple(
        ChanceLine(g.id, g.label, round(100 * stated[g.id]) if g.id in stated else None, words)
        for g in room.groups
    )


def moments(attempt: Attempt) -> Iterator[tuple[int, str]]:
    """What was done, in order, with the minute at which it was done."""
    seconds = 0
    for taken in attempt.taken:
        seconds += taken.seconds
        yield seconds // 60, taken.said


@dataclass(frozen=True, slots=True)
class WeighedLine:
    """What the findings speak for, as on the bedside page; "" where a raised flag withholds it."""

    label: str
    chance: str
    withheld_because: str
    because: tuple[Because, ...]


def weighed_of(conditions: Iterable[ConditionPosterior]) -> tuple[WeighedLine, ...]:
    """Those of which a finding says something, or whose figure a flag withholds."""
    return tuple(
        WeighedLine(one.label, _chance(one), one.withheld_because or "", one.because)
        for one in conditions
        if one.because or one.withheld_because
    )


def _chance(one: ConditionPosterior) -> str:
    if one.withheld_because:
        return ""
    return f"{with_interval(one)}, before {percent(one.prior)}"


@dataclass(frozen=True, slots=True)
class GroupLine:
    """One group at the end of a case: what was said, in whole percent, and what was warranted."""

    label: str
    stated: int
    warranted: str
    there: bool
    because: tuple[str, ...]


def group_lines(told: dict[str, Any]) -> tuple[GroupLine, ...]:
    """The groups of a feedback as it was kept."""
    return tuple(
        GroupLine(one["label"], round(100 * one["stated"]), percent(one["warranted"]),
                  one["there"], tuple(one["because"]))
        for one in told["groups"]
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class PartingLine:
    """The moment when the stated and the warranted chance parted."""

    label: str
    kind: str
    step: int
    stated: int
    warranted: int


def parting_line(told: dict[str, Any]) -> PartingLine | None:
    """The parting of a feedback as it was kept; None where there was none."""
    one = told["parting"]
    if one is None:
        return None
    label = next(group["label"] for group in told["groups"] if group["group"] == one["group"])
    return PartingLine(label, one["kind"], one["step"], round(100 * one["stated"]),
                       round(100 * one["warranted"]))  # fmt: skip


@dataclass(frozen=True, slots=True)
class BinLine:
    """Chances that were much alike, in whole percent: how often what they were said of was so."""

    count: int
    stated: int
    share: int
    low: int
    high: int


def bin_lines(bins: Iterable[Any]) -> tuple[BinLine, ...]:
    """The bins of a calibration."""
    return tuple(
        BinLine(one.count, *(round(100 * n) for n in (one.stated, one.share, one.low, one.high)))
        for one in bins
    )
