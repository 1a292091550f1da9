"""The sheet of one case, from the case alone: the truth has no place on it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.knowledge.region import Region
from sidewise.practice.actor_sheet.acting import acting_words, is_acted, is_ordinary
from sidewise.practice.case_file import NOTICE, CaseFile
from sidewise.practice.ways import patient_ways
from sidewise.protocol import Item, protocol_of
from sidewise.record import Finding
from sidewise.record.line.writer import write_line

VOICES = {
    "talkative": "You like to talk. Answer at length, and wander off once before you come back.",
    "guarded": "You say little. Answer in a few words, and volunteer nothing.",
    "vague": 'You are not sure of dates and places. "About", "perhaps", "I think".',
}
"""How each voice of a case is played."""


@dataclass(frozen=True, slots=True)
class Showing:
    """What to do when something is examined. side: left, right, or "" for what has none."""

    item: str
    label: str
    side: str
    words: str


@dataclass(frozen=True)
class ActorSheet:
    """Everything that an actor is told.

    who: in a sentence. onset: what to answer when asked how it began. yes: questions that are
    answered with yes, no: with no, in the words in which they are asked. show: what to do, in the
    order of the examination. cards: what is handed over when it is looked for. vitals: in words.
    """

    case: str
    who: str
    opening: str
    voice: str
    onset: str
    yes: tuple[str, ...]
    no: tuple[str, ...]
    show: tuple[Showing, ...]
    cards: tuple[Showing, ...]
    vitals: tuple[str, ...]
    notice: str = NOTICE


def actor_sheet(case: CaseFile, region: Region) -> ActorSheet:
    """The sheet of a case. It names no condition: an actor plays what is there to find."""
    protocol, context = protocol_of(region), case.record.context
    answers = {one.say: context.history.get(one.id, "") for one in protocol.history}
    movements = patient_ways(region).movements
    found = [(finding, protocol.item(finding.item)) for finding in case.record.findings]
    there = [one for one in found if not is_ordinary(*one, movements)]
    began = "all at once" if context.onset == "sudden" else "bit by bit"
    return ActorSheet(
        case=case.record.id,
        who=_who(case, region),
        opening=case.opening,
        voice=VOICES.get(case.voice, ""),
        onset=f"It came {began}.",
        yes=tuple(say for say, answer in answers.items() if answer == "yes"),
        no=tuple(say for say, answer in answers.items() if answer == "no"),
        show=tuple(_shown(there)),
        cards=tuple(_handed(there, region)),
        vitals=tuple(
            f"{protocol.vitals_by_id[name].label} {value:g} {protocol.vitals_by_id[name].unit}"
            for name, value in context.vitals.items()
        ),
    )


def _who(case: CaseFile, region: Region) -> str:
    context = case.record.context
    person = "a woman" if context.sex == "female" else "a man"
    sides = " and ".join(context.complaint)
    pain = f" It hurts {context.pain_0_10:g} out of 10." if context.pain_0_10 is not None else ""
    hand = f" You are {context.dominant}-handed." if context.dominant in ("left", "right") else ""
    return f"You are {person} of {context.age}; your {sides} {region.label} hurts.{pain}{hand}"


def _shown(there: list[tuple[Finding, Item]]) -> Iterator[Showing]:
    for finding, item in there:
        if is_acted(finding):
            yield Showing(item.id, item.label, _side(finding), acting_words(finding))


def _handed(there: list[tuple[Finding, Item]], region: Region) -> Iterator[Showing]:
    for finding, item in there:
        if not is_acted(finding) or getattr(finding.value, "click", None):
            yield Showing(item.id, item.label, _side(finding), write_line(finding, region))


def _side(finding: Finding) -> str:
    return finding.side if finding.side in ("left", "right") else ""
