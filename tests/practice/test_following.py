"""What nothing was drawn of follows from the story: a stiff arm does no task with ease.

Written before the first run: of twelve frozen shoulders most cannot put a hand to the back of the
head easily; a healthy side does; whoever comes with pain points to a place.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import pytest

from sidewise.practice import CaseWishes, PracticeCase, practice_case
from sidewise.practice.ways import patient_ways
from sidewise.record import OTHER, check_record
from tests.shoulder import PROTOCOL, SHOULDER

STIFF = CaseWishes(present=("frozen",), absent=("others",))
SEEDS = range(12)


@cache
def stiff(seed: int) -> PracticeCase:
    return practice_case(SHOULDER, seed, STIFF)


def chosen(case: PracticeCase, item: str, side: str) -> str:
    (finding,) = case.record.at(item, side, None)
    choice: Any = getattr(finding.value, "choice", "")
    return choice if isinstance(choice, str) else ", ".join(choice)


def test_a_stiff_arm_does_not_reach_the_head_easily_and_a_free_one_does() -> None:
    stiff_sides = [chosen(stiff(n), "hand_to_head", s)
                   for n in SEEDS for s in stiff(n).drawn.person.complaint]  # fmt: skip
    assert sum(one == "easily" for one in stiff_sides) <= len(stiff_sides) / 4
    free = [chosen(stiff(n), "hand_to_head", OTHER[s])
            for n in SEEDS if len(stiff(n).drawn.person.complaint) == 1
            for s in stiff(n).drawn.person.complaint]  # fmt: skip
    assert sum(one == "easily" for one in free) >= len(free) / 2


@pytest.mark.parametrize("seed", SEEDS)
def test_whoever_comes_with_pain_points_to_a_place(seed: int) -> None:
    for case in (stiff(seed), practice_case(SHOULDER, seed)):
        for side in case.drawn.person.complaint:
            assert chosen(case, "pain_pointed", side) != "no pain"


@pytest.mark.parametrize("seed", SEEDS)
def test_a_hand_that_stops_below_the_sacrum_does_not_tuck_in_a_shirt(seed: int) -> None:
    """The same finding, told twice: by the level of the thumb and by the task."""
    for side in OTHER:
        (reach,) = stiff(seed).record.at("internal_rotation_behind_back", side, "active")
        if getattr(reach.value, "level", "") in ("thigh", "buttock"):
            assert chosen(stiff(seed), "hand_to_back", side) == "cannot"
    check_record(stiff(seed).record, PROTOCOL)


def test_what_follows_names_items_movements_and_choices_that_there_are() -> None:
    ways = patient_ways(SHOULDER)
    assert ways.follows_basis, "figures without a source"
    for item, rules in ways.follows.items():
        assert not PROTOCOL.readings_by_item.get(item), "what is drawn does not follow"
        options = getattr(PROTOCOL.item(item).kind("choice"), "options", ())
        for rule in rules:
            assert rule.shows in options
            assert rule.by in PROTOCOL.by_id
            if isinstance(rule.below, str):
                assert rule.below in getattr(PROTOCOL.item(rule.by).kind("level"), "ladder", ())
    for item, shows in ways.shown_by_complaint.items():
        assert shows in getattr(PROTOCOL.item(item).kind("choice"), "options", ())
