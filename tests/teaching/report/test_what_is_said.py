"""What `sidewise marks` says of weeks whose truth is known: nobody developed on these weeks."""

from __future__ import annotations

import re
from dataclasses import dataclass

import pytest

from sidewise.teaching.examples.example_files import as_written
from sidewise.teaching.examples.teaching_week import TeachingWeek, teaching_week
from sidewise.teaching.report.answers import board_answers
from sidewise.teaching.sitting.options import SittingOptions
from sidewise.teaching.sitting.sitting import analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame

# Drawn once for this test and used for nothing else.
FIRST_LINKED, FIRST_UNLINKED = 731_908_000, 846_205_000


@dataclass(frozen=True)
class Said:
    """Names of examiners and of stations in the short answers of the report."""

    examiners: set[str]
    stations: set[str]


def said(week: TeachingWeek) -> Said:
    """From the table as an office would write it to the answers a board reads."""
    # Draws only give the pass mark its interval: who is named does not rest on them.
    found = analyse_sitting(marks_from_frame(as_written(week.marks)), SittingOptions(draws=0))
    short = {a.question: a.short for a in board_answers(found)}
    stations = set(short["Which station must go?"].split(", ")) & set(found.table.stations)
    return Said(set(re.findall(r"E\d\d", short["Is an examiner severe?"])), stations)


@dataclass(frozen=True)
class Counted:
    """Over unseen weeks: how often the severe examiner and the broken station were named, in how
    many weeks another examiner was, and how many sound stations were."""

    found: int
    false: int
    broken: int
    blamed: int


def count_weeks(number: int) -> Counted:
    """The first so many of the unseen weeks."""
    found = false = broken = blamed = 0
    for seed in range(FIRST_LINKED, FIRST_LINKED + number):
        week = teaching_week(seed)
        names = said(week)
        found += week.severe_examiner in names.examiners
        false += bool(names.examiners - {week.severe_examiner})
        broken += week.broken_station in names.stations
        blamed += len(names.stations - {week.broken_station})
    return Counted(found, false, broken, blamed)


@pytest.mark.long
def test_the_severe_examiner_of_200_unseen_weeks_is_named_and_hardly_anyone_else() -> None:
    """At least 90% found; anyone else named, severe or lenient, in at most 5% of weeks."""
    counted = count_weeks(200)
    print(counted)
    assert counted.found >= 180
    assert counted.false <= 10
    assert counted.broken >= 160
    assert counted.blamed <= 14  # 1% of 1,400 sound stations


@pytest.mark.slow
def test_the_severe_examiner_of_a_few_unseen_weeks_is_named() -> None:
    """Of 8 weeks each bound holds in 99 of 100 such draws (binomial): at 90% found 5
    at least, at 5% false 2 at most, at 80% broken 4 at least, of 56 sound stations 3 at most."""
    counted = count_weeks(8)
    assert counted.found >= 5
    assert counted.false <= 2
    assert counted.broken >= 4
    assert counted.blamed <= 3


@pytest.mark.slow
def test_nobody_is_named_in_unseen_unlinked_weeks() -> None:
    named = [
        said(teaching_week(seed, linked=False)).examiners
        for seed in range(FIRST_UNLINKED, FIRST_UNLINKED + 10)
    ]
    assert named == [set()] * 10
