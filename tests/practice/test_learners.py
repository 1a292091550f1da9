"""What the room says to learners who do this or that, held against what a teacher expects.

The expectations (`learners.yaml`) were written before feedback was first run.
"""

from __future__ import annotations

import pytest

from tests.practice.learner_games import LEARNERS, told

NUMBERS = {entry["who"]: number for number, entry in enumerate(LEARNERS)}


def expecting(name: str) -> list[str]:
    return [entry["who"] for entry in LEARNERS if name in entry]


def test_a_teacher_expects_something_of_each() -> None:
    assert len(LEARNERS) >= 12
    assert all(set(entry) - {"who", "case", "changed", "does"} for entry in LEARNERS)


@pytest.mark.parametrize("who", expecting("flags_missed"))
def test_flags_missed_are_those_expected(who: str) -> None:
    found = told(NUMBERS[who])
    assert [one.flag for one in found.flags_missed] == LEARNERS[NUMBERS[who]]["flags_missed"]


@pytest.mark.parametrize("who", expecting("one_thing"))
def test_the_one_thing_is_what_a_teacher_would_say(who: str) -> None:
    entry, thing = LEARNERS[NUMBERS[who]], told(NUMBERS[who]).one_thing
    assert thing.kind == entry["one_thing"]
    assert thing.item == entry.get("at", thing.item)


@pytest.mark.parametrize("who", expecting("parting"))
def test_stated_and_warranted_part_where_a_teacher_says(who: str) -> None:
    parting = told(NUMBERS[who]).parting
    assert (parting.kind if parting else "") == LEARNERS[NUMBERS[who]]["parting"]


@pytest.mark.parametrize("who", expecting("closer"))
def test_perfect_reading_of_the_same_findings_is_closer(who: str) -> None:
    found = told(NUMBERS[who])
    assert found.perfect.brier < found.stated.brier


@pytest.mark.parametrize("who", expecting("has") + expecting("has_not"))
def test_lists_hold_what_a_teacher_would_name(who: str) -> None:
    entry, found = LEARNERS[NUMBERS[who]], told(NUMBERS[who])
    for name, items in entry.get("has", {}).items():
        assert set(items) <= {one.item for one in getattr(found, name)}
    for name, items in entry.get("has_not", {}).items():
        assert not set(items) & {one.item for one in getattr(found, name)}
