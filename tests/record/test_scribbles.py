"""Scribbles of the trade, expected before the line could read them: read, asked, never wrong."""

from __future__ import annotations

import pytest

from sidewise.record import Finding
from sidewise.record.line import LineReading, read_line
from tests.record.scribbled import Scribble, finding, scribbles
from tests.shoulder import SHOULDER

ALL = scribbles()
FIRST = 23
"""Those of the first part of the file."""

FORGOTTEN = {
    "abd 95 active, 120 passive R": "abduction R passive angle:120",
    "HBB R T6, L buttock active": "internal_rotation_behind_back L active level:buttock",
}
"""Where the expectation left out a half that says all by itself; the other half is asked."""


def read(line: str) -> LineReading:
    return read_line(line, SHOULDER)


def answers(reading: LineReading) -> set[tuple[Finding, ...]]:
    return {choice.findings for question in reading.questions for choice in question.choices}


def is_met(scribble: Scribble) -> bool:
    """Whether the line does just what was expected of it."""
    reading = read(scribble.line)
    if scribble.refused:
        return not reading.findings and not reading.questions
    return (
        sorted(map(repr, reading.findings)) == sorted(map(repr, scribble.read))
        and set(scribble.offered) <= answers(reading)
        and not reading.not_understood
    )


@pytest.mark.parametrize("scribble", ALL, ids=lambda s: s.line)
def test_nothing_is_recorded_that_was_not_meant(scribble: Scribble) -> None:
    meant = [*scribble.read, *map(finding, filter(None, [FORGOTTEN.get(scribble.line)]))]
    assert [found for found in read(scribble.line).findings if found not in meant] == []


def test_what_is_refused_offers_nothing_either() -> None:
    refused = [scribble for scribble in ALL if scribble.refused]
    assert [s.line for s in refused if read(s.line).findings or read(s.line).questions] == []
    assert len(refused) == 47


def test_the_words_that_were_typed_in_vain_are_read() -> None:
    assert sum(map(is_met, ALL[:FIRST])) >= 20


def test_as_many_of_the_others_as_were_read_when_this_was_written() -> None:
    assert len(ALL) == 267
    assert sum(map(is_met, ALL[FIRST:])) >= 240


def test_a_name_that_sums_up_several_never_becomes_a_finding_by_itself() -> None:
    lines = ["full ROM R", "NVI both", "full passive ROM L", "NVI", "distal NV intact R"]
    assert [line for line in lines if read(line).findings] == []
    assert all(read(line).questions for line in lines)
