"""Warranted chances of groups against the reasoner and against enumeration."""

from __future__ import annotations

import pytest

from sidewise.network import solve
from sidewise.practice.feedback.warrant import moment_of, warranted_chances
from sidewise.practice.room import Room, revealed_record
from sidewise.reason import interpret
from tests.practice.learner_games import play, room_of
from tests.shoulder import SHOULDER

FROZEN = {"case": {"seed": 14, "with": ["frozen"], "without": ["others"], "flags": ["none"]}}
LINES = ["ask night pain", "prepare", "move both external rotation", "feel both acj tenderness"]


@pytest.fixture(scope="module")
def room() -> Room:
    return room_of(FROZEN)[0]


@pytest.mark.parametrize("count", [1, 2, 3, 4])
def test_a_group_of_one_is_what_the_network_says_of_it(room: Room, count: int) -> None:
    moment = moment_of(revealed_record(room, play(room, LINES[:count])), SHOULDER)
    (side,) = room.context.complaint
    plain = solve(moment.network, moment.evidence).marginal[0]
    names = [one.name for one in moment.layout.structure.variables]
    found = warranted_chances(moment)
    for group, variable in (("frozen", f"frozen.{side}"), ("polymyalgia", "polymyalgia")):
        assert found[group] == pytest.approx(1 - plain[names.index(variable), 0], abs=1e-9)


def test_a_group_of_levels_is_their_sum(room: Room) -> None:
    moment = moment_of(revealed_record(room, play(room, LINES)), SHOULDER)
    (side,) = room.context.complaint
    names = [one.name for one in moment.layout.structure.variables]
    levels = solve(moment.network, moment.evidence).marginal[0, names.index(f"cuff.{side}")]
    assert warranted_chances(moment)["cuff_pain"] == pytest.approx(levels[1] + levels[2], abs=1e-9)


def test_a_union_lies_between_its_largest_member_and_their_sum(room: Room) -> None:
    moment = moment_of(revealed_record(room, play(room, LINES)), SHOULDER)
    (side,) = room.context.complaint
    names = [one.name for one in moment.layout.structure.variables]
    there = 1 - solve(moment.network, moment.evidence).marginal[0, :, 0]
    own = [there[names.index(f"{one}.{side}")] for one in ("acj", "acj_separation", "scj")]
    assert max(own) <= warranted_chances(moment)["collarbone"] <= sum(own) + 1e-9


def test_what_the_page_says_is_within_its_own_interval_of_it(room: Room) -> None:
    record = revealed_record(room, play(room, LINES))
    (side,) = room.context.complaint
    page = next(
        one for one in interpret(record, SHOULDER).sides[side].conditions
        if one.condition == "frozen"
    )  # fmt: skip
    assert page.low is not None
    assert page.high is not None
    assert page.low <= warranted_chances(moment_of(record, SHOULDER))["frozen"] <= page.high
