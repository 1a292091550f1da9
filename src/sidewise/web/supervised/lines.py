"""What a learner's page shows: the items of a stage, what was found, and what is held back."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby

from sidewise.note.phrases import finding_phrase
from sidewise.protocol import Item, Protocol, protocol_of
from sidewise.reason.judging.flags import Withheld, flag_book_of, red_flags
from sidewise.reason.judging.judge import Judge
from sidewise.record import Finding, Record
from sidewise.regions import region_of_record
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.widgets import Button, widget

HELD = "not in this patient now: ask your supervisor"
"""Why something is held back is the supervisor's finding, and is not told."""


@dataclass(frozen=True, slots=True)
class Kept:
    """One finding that stands, with its number, by which it is taken back."""

    number: int
    words: str


@dataclass(frozen=True, slots=True)
class Spot:
    """One side and mode of an item: what was found, or how it is entered.

    place: item, side and mode. field: the name of its typed field. said: for who hears the page.
    typed: what was typed here and could not be recorded.
    """

    place: str
    field: str
    said: str
    mode: str
    found: tuple[Kept, ...]
    buttons: tuple[Button, ...]
    held: bool
    typed: str


@dataclass(frozen=True, slots=True)
class LearnerLine:
    """One item with what there is to enter at the right, the left, or of the whole."""

    item: Item
    right: tuple[Spot, ...]
    left: tuple[Spot, ...]
    whole: tuple[Spot, ...]


@dataclass(frozen=True, slots=True)
class LearnerGroup:
    """Items under one heading."""

    title: str
    lines: tuple[LearnerLine, ...]


@dataclass(frozen=True, slots=True)
class LearnerTab:
    """One stage in the strip, with how many of its items were examined."""

    slug: str
    label: str
    done: int


def learner_tabs(protocol: Protocol, found: Iterable[Finding]) -> tuple[LearnerTab, ...]:
    """The stages in their order."""
    done = {one.item for one in found}
    return tuple(
        LearnerTab(s.slug, str(s), sum(i.id in done for i in protocol.items if i.stage == s.id))
        for s in protocol.stages
    )


def learner_groups(
    now: Current, standing: Mapping[int, Finding], slug: str, typed: Mapping[str, str]
) -> tuple[LearnerGroup, ...]:
    """The items of a stage by group; now: the supervisor's, for what is held back alone."""
    protocol = now.protocol
    stage = next(one for one in protocol.stages if one.slug == slug)
    items = (item for item in protocol.items if item.stage == stage.id)
    return tuple(
        LearnerGroup(title, tuple(_line(item, now.withheld, standing, typed) for item in there))
        for title, there in groupby(items, key=lambda item: item.group)
    )


def _line(
    item: Item, held: Withheld, standing: Mapping[int, Finding], typed: Mapping[str, str]
) -> LearnerLine:
    def spots(side: str) -> tuple[Spot, ...]:
        return tuple(
            _spot(item, side, mode, held, standing, typed) for mode in item.modes or (None,)
        )

    if item.paired:
        return LearnerLine(item, spots("right"), spots("left"), ())
    return LearnerLine(item, (), (), spots("midline"))


def _spot(
    item: Item,
    side: str,
    mode: str | None,
    held: Withheld,
    standing: Mapping[int, Finding],
    typed: Mapping[str, str],
) -> Spot:
    place = " ".join(filter(None, (item.id, side, mode)))
    found = tuple(
        Kept(number, finding_phrase(one, item))
        for number, one in standing.items()
        if one.place == (item.id, side, mode)
    )
    words = "" if side == "midline" else f", patient's {side}"
    said = f"{item.label}{words}{f', {mode}' if mode else ''}"
    is_held = held.why(item, mode) is not None
    buttons = () if is_held else tuple(_buttons(item, side))
    field = place.replace(" ", ".")
    return Spot(place, field, said, mode or "", found, buttons, is_held, typed.get(field, ""))


def _buttons(item: Item, side: str) -> Iterator[Button]:
    for limits in item.offered:
        yield from widget(limits, None, side).buttons


def raised_by(record: Record) -> tuple[str, ...]:
    """Flags that a learner's findings raise by themselves, by label."""
    region = region_of_record(record)
    judge = Judge(protocol_of(region), record)
    flags = red_flags(judge, flag_book_of(region))
    return tuple(flag.label for flag in flags if flag.status == "raised")
