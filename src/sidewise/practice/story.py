"""What the patient says, in plain words, in a voice; and the answers to what is asked.

The words follow from what was drawn and name no diagnosis.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from sidewise.practice.patient_truth import Drawn
from sidewise.practice.ways import ConditionPicture, PatientWays
from sidewise.protocol import Protocol

VOICES = ("talkative", "guarded", "vague")


@dataclass(frozen=True)
class Story:
    """What is said without being asked, and what is true of how it began.

    history, vitals: answers and signs as they stand in an examination.
    """

    voice: str
    opening: str
    onset: str
    weeks: int
    pain: int
    history: Mapping[str, str]
    vitals: Mapping[str, float]


def story_of(
    ways: PatientWays,
    protocol: Protocol,
    joint: str,
    drawn: Drawn,
    flags: tuple[str, ...],
    rng: np.random.Generator,
) -> Story:
    """The story of one drawn patient. joint: the region's word; flags: those that must stand."""
    there = _pictures(ways, drawn)
    first = there[0]
    weeks = int(rng.integers(first.weeks[0], first.weeks[1] + 1))
    pain = int(rng.integers(2, 10))
    says = [one.says[int(rng.integers(len(one.says)))] for one in there[:3]]
    voice = VOICES[int(rng.integers(len(VOICES)))]
    opening = _opening(ways, joint, drawn, first, voice, says, weeks, pain, rng)
    usual = ways.usual_vitals.items()
    vitals = {name: round(float(rng.uniform(low, high)), 1) for name, (low, high) in usual}
    history = _answers(ways, protocol, drawn, first)
    for flag in flags:
        history |= ways.flags[flag].history
        vitals |= ways.flags[flag].vitals
    known = {name: value for name, value in vitals.items() if name in protocol.vitals_by_id}
    return Story(voice, opening, first.onset, weeks, pain, history, known)


def _pictures(ways: PatientWays, drawn: Drawn) -> list[ConditionPicture]:
    """The pictures of what is present where it hurts, the tightest first."""
    sides = ("", *drawn.person.complaint)
    found = [
        ways.conditions[name]
        for variable, level in drawn.levels.items()
        if level
        and (name := variable.partition(".")[0]) in ways.conditions
        and variable.partition(".")[2] in sides
    ]
    return sorted(found, key=lambda one: (not one.injury, one.keep[0])) or [ways.nothing]


def _answers(
    ways: PatientWays, protocol: Protocol, drawn: Drawn, first: ConditionPicture
) -> dict[str, str]:
    """Core questions and those that are read are answered; a no unless drawn otherwise."""
    answers = {question.id: "no" for question in protocol.history if question.core}
    for name, present in drawn.readings.items():
        if name in protocol.history_by_id or _question(protocol, name):
            answers[_question(protocol, name) or name] = "yes" if present else "no"
    if first.injury:
        answers |= {name: "yes" for name in ways.injured if name in protocol.history_by_id}
    return answers


def _question(protocol: Protocol, reading: str) -> str:
    """The question that a reading is of, "" where it is of an item."""
    one = protocol.readings_by_id.get(reading)
    return one.item if one is not None and one.item in protocol.history_by_id else ""


def _opening(
    ways: PatientWays,
    joint: str,
    drawn: Drawn,
    first: ConditionPicture,
    voice: str,
    says: list[str],
    weeks: int,
    pain: int,
    rng: np.random.Generator,
) -> str:
    def one(words: tuple[str, ...]) -> str:
        return words[int(rng.integers(len(words)))]

    person = drawn.person
    which = f"both {joint}s" if len(person.complaint) > 1 else f"my {person.complaint[0]} {joint}"
    work, begins, worst, wants = (
        one(words) for words in (ways.works, ways.begins, ways.worst, ways.wants)
    )
    long = how_long(weeks)
    came = "all of a sudden" if first.onset == "sudden" else "bit by bit"
    if voice == "talkative":
        return (
            f"Well, I am {work}, {person.age} now, and it is {which}, for {long}. It came {came}, "
            f"{begins}. {_sentences(says)} It is worst {worst}, {pain} out of ten I should say. "
            f"{wants[0].upper()}{wants[1:]}."
        )
    if voice == "guarded":
        return f"{which[0].upper()}{which[1:]}. {long}. {_sentences(says[:1])} {pain} out of ten."
    return (
        f"It is sort of {which}, {long} perhaps, I could not say exactly; it began {begins}, "
        f"{came}, I think. {_sentences(says[-1:])} Worse {worst}, maybe {pain} out of ten."
    )


def how_long(weeks: int) -> str:
    """Weeks as people say them."""
    if weeks < 9:
        return "a week" if weeks == 1 else f"{weeks} weeks"
    if weeks < 100:
        return f"{round(weeks / 4.35)} months"
    return f"{round(weeks / 52)} years"


def _sentences(says: list[str]) -> str:
    return " ".join(f"{text[0].upper()}{text[1:]}." for text in says)
