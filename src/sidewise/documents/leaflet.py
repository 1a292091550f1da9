"""A leaflet for the patient in plain words: a draft that the clinician reads, edits and hands over.

Nothing in it comes from the reasoner: no probability, no condition, no flag. It says what was
looked at, what was measured on both sides, the clinician's own words, what comes next, and always
when to come back at once. It is a text of headings, sentences and points, to be edited anywhere;
the PDF is made of the text.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sidewise.documents.papers import paper_data
from sidewise.documents.printing import print_pdf
from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.measure import side_differences, tables_of
from sidewise.measure.sides.differences import SideDifference
from sidewise.measure.visits.follow_up import follow
from sidewise.measure.visits.results import Followed
from sidewise.protocol import Protocol, protocol_of
from sidewise.record import CareStep, Record

AT_ONCE = "Get help at once if"
DANGERS = (
    "you have pain in the chest, or you cannot get your breath",
    "an arm or a leg turns cold, white or blue, or swells up fast",
    "a part goes numb or weak, or you cannot move it",
    "a joint gets hot, red and swollen, or you have a fever or shakes",
    "you fall, or feel a joint slip out, or its shape changes",
    "you lose feeling between the legs, or cannot hold or pass water",
    "the pain is bad and quickly gets worse, or you feel very ill",
)
"""When to come back: common practice in telling patients what to watch for, no source."""
WHERE_TO = "Go to an emergency department or call the emergency number. Do not wait."
SOONER = "Call us sooner if it does not get better as we said, or if you are worried."
ASK = "If anything is not clear, please ask."
DRAFT = (
    "DRAFT for the clinician: read it, change it, take this line out by printing the edited text. "
    "Do not hand it over as it is."
)
TO_FILL = "[Clinician: say here in plain words what you think it is.]"
TO_PLAN = "[Clinician: say here what happens next.]"
TO_FIND = "[Clinician: say here in plain words what you found.]"
GAPS = (TO_FIND, TO_FILL, TO_PLAN)
"""What the clinician must write. Where nothing measured differs for sure, the program says nothing
of what was found: "no difference" would be read as "all is well"."""
MOST = 4
"""Movements that are named."""


@dataclass(frozen=True, slots=True)
class LeafletPart:
    """One part under its heading: sentences, then points."""

    title: str
    said: tuple[str, ...] = ()
    points: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Leaflet:
    """A leaflet as parts under one title."""

    title: str
    parts: tuple[LeafletPart, ...]

    @property
    def text(self) -> str:
        """The same as text: `#` a heading, `-` a point."""
        return "\n".join(_text_lines(self)) + "\n"


def draft_leaflet(record: Record, region: Region, earlier: Sequence[Record] = ()) -> Leaflet:
    """The draft for one examination; with earlier visits it also says what has changed."""
    protocol = protocol_of(region)
    day = record.context.examined_at.strftime("%d %B %Y").lstrip("0")
    return Leaflet(
        f"Your {protocol.label} examination",
        tuple(
            part
            for part in (
                LeafletPart("What we did", tuple(_done(record, day))),
                LeafletPart("What we found", tuple(_found(record, region, protocol))),
                *_changed(record, region, protocol, earlier),
                LeafletPart("What we think", (record.conclusion.impression or TO_FILL,)),
                LeafletPart("What happens next", (), tuple(_next(record))),
                LeafletPart(AT_ONCE, (), DANGERS),
                LeafletPart("What to do then", (WHERE_TO, SOONER, ASK)),
            )
            if part.said or part.points
        ),
    )


def _done(record: Record, day: str) -> Iterator[str]:
    yield f"We looked at you on {day}."
    sides = {one.side for one in record.findings if one.status == "examined"}
    if {"left", "right"} <= sides:
        yield "We looked at both sides, to see how one compares with the other."
    yield "We did not test for all things. What we did not test, we do not know."


def _found(record: Record, region: Region, protocol: Protocol) -> Iterator[str]:
    found = [
        one
        for one in side_differences(record, protocol, tables_of(region))
        if one.real and one.unit == "deg" and one.mode == "active"
    ]
    for one in sorted(found, key=lambda d: -abs(d.difference))[:MOST]:
        yield _difference_words(one, protocol)
    if not found:
        yield TO_FIND
    if (pain := record.context.pain_0_10) is not None:
        yield f"You gave your pain {pain:g} out of 10."


def _difference_words(one: SideDifference, protocol: Protocol) -> str:
    less, other = ("left", "right") if one.left < one.right else ("right", "left")
    low, high = sorted((one.left, one.right))
    went = f"Your {less} side went {low:g} degrees. Your {other} side went {high:g}."
    return f"We said: “{_asked(protocol, one.item)}” {went}"


def _asked(protocol: Protocol, item: str) -> str:
    """The first sentence of what is said to the patient."""
    said = protocol.item(item).say
    end = min((said.find(mark) for mark in ".?!" if mark in said), default=len(said) - 1)
    return said[: end + 1]


def _changed(
    record: Record, region: Region, protocol: Protocol, earlier: Sequence[Record]
) -> Iterator[LeafletPart]:
    if not earlier:
        return
    course = follow([*earlier, record], protocol, tables_of(region))
    real = [one for one in course.followed if one.overall.real and one.unit == "deg"]
    moved = [one for one in real if one.mode == "active"] or real
    said = [_change_words(one, protocol) for one in moved[:MOST]]
    before = earlier[0].context.pain_0_10
    if before is not None and record.context.pain_0_10 is not None:
        said.append(f"Your pain was {before:g} out of 10. Now it is {record.context.pain_0_10:g}.")
    if not moved:
        said.insert(0, "In what we measured, there was no change that we can be sure of.")
    yield LeafletPart("What has changed", tuple(said))


def _change_words(one: Followed, protocol: Protocol) -> str:
    first, last = one.readings[0].number, one.readings[-1].number
    asked = _asked(protocol, one.item)
    return f"We said: “{asked}” Your {one.side} side went {first:g} degrees. Now it goes {last:g}."


def _next(record: Record) -> Iterator[str]:
    planned = [
        entry for entry in record.care if isinstance(entry, CareStep) and entry.state == "planned"
    ]
    steps = [*record.conclusion.plan, *(_step_words(entry) for entry in planned)]
    yield from steps or (TO_PLAN,)


def _step_words(entry: CareStep) -> str:
    parts: list[str] = [entry.name]
    if entry.to:
        parts.append(f"to {entry.to}")
    if entry.in_weeks is not None:
        parts.append(f"in {entry.in_weeks:g} weeks")
    text = " ".join(parts)
    return f"{text}: {entry.detail}" if entry.detail else text


def _text_lines(leaflet: Leaflet) -> Iterator[str]:
    yield f"# {leaflet.title}"
    for part in leaflet.parts:
        yield ""
        yield f"## {part.title}"
        yield from part.said
        yield from (f"- {point}" for point in part.points)


def parse_leaflet(text: str) -> Leaflet:
    """The leaflet that an edited text is; UserError where it does not say when to come back."""
    title, parts = "", [LeafletPart("")]
    for line in filter(None, map(str.strip, text.splitlines())):
        if line.startswith("## "):
            parts.append(LeafletPart(line[3:].strip()))
        elif line.startswith("# "):
            title = line[2:].strip()
        elif line.startswith("- "):
            parts[-1] = _with(parts[-1], points=(line[2:].strip(),))
        else:
            parts[-1] = _with(parts[-1], said=(line,))
    told = tuple(part for part in parts if part.title or part.said or part.points)
    _check_leaflet(title, told)
    return Leaflet(title, told)


def _with(part: LeafletPart, said: Iterable[str] = (), points: Iterable[str] = ()) -> LeafletPart:
    return LeafletPart(part.title, (*part.said, *said), (*part.points, *points))


def _check_leaflet(title: str, parts: tuple[LeafletPart, ...]) -> None:
    if not title:
        raise UserError("leaflet", "no title", "a first line that begins with #")
    urgent = [part for part in parts if part.title == AT_ONCE]
    if not urgent or not urgent[0].points:
        raise UserError(
            "leaflet",
            "no word on when to come back at once",
            f'a part called "## {AT_ONCE}" with at least one point',
            "Every leaflet says it; change the points, but leave them there.",
        )
    told = " ".join(words for part in parts for words in (*part.said, *part.points))
    for unfilled in GAPS:
        if unfilled in told:
            raise UserError("leaflet", unfilled, "your own words in its place")


def leaflet_pdf(leaflet: Leaflet, record: Record, *, draft: bool) -> bytes:
    """The leaflet in large print; a draft says on its head that it is one."""
    heading = (leaflet.title,)
    data = {
        **paper_data(heading, record, "Leaflet"),
        "foot": "",
        "banner": DRAFT if draft else "",
        "front": [_part_data(part) for part in leaflet.parts],
    }
    return print_pdf("leaflet", data)


def _part_data(part: LeafletPart) -> dict[str, Any]:
    return {
        "title": part.title,
        "said": list(part.said),
        "points": list(part.points),
        "urgent": part.title == AT_ONCE,
    }
