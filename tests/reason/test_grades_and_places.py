"""What a place and a grade of glide say, and what they must not; no threshold below nought."""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.protocol.criteria import Angle, Length, SideLoss
from sidewise.protocol.fits import negative_threshold
from sidewise.reason.judging.judge import Judge, State, _below, _near, _soft
from sidewise.record import Finding
from tests.builders import angle, found, negative, positive, record
from tests.shoulder import PROTOCOL


def verdict(reading: str, *findings: Finding) -> Any:
    judge = Judge(PROTOCOL, record(*findings))
    return judge.reading(PROTOCOL.readings_by_id[reading], "left")


def grating(grade: str, place: str | None = None) -> Finding:
    return found("crepitus", "left", "sign", grade=grade, place=place)


def test_grating_speaks_of_the_joint_only_at_the_joint_line() -> None:
    """Below the roof it is a cuff, under the blade a rumble (common practice, no source)."""
    assert verdict("crepitus", grating("painless", "joint line")).state is State.MET
    for place in ("below the acromion", "under the shoulder blade", None):
        assert verdict("crepitus", grating("painful", place)).state is State.UNKNOWN, place
    assert verdict("crepitus", grating("absent")).state is State.NOT_MET


@pytest.mark.parametrize("grade", ["over the rim, goes back", "locks out"])
def test_a_glide_over_the_rim_is_found_and_a_click_is_not(grade: str) -> None:
    """Glide and symptoms are told apart (common practice, no source)."""
    glide = found("anterior_drawer", "left", "sign", grade=grade)
    assert verdict("anterior_drawer_translation", glide).state is State.MET
    click = positive("anterior_drawer", "left", click=True, pain=False, apprehension=False)
    assert verdict("anterior_drawer_translation", click).state is State.UNKNOWN
    assert verdict("anterior_drawer_symptoms", click).state is State.NOT_MET


def test_a_drawer_without_symptoms_says_nothing_of_the_glide() -> None:
    assert verdict("anterior_drawer_translation", negative("anterior_drawer", "left")).state is (
        State.UNKNOWN
    )
    to_the_rim = found("anterior_drawer", "left", "sign", grade="to the rim")
    assert verdict("anterior_drawer_translation", to_the_rim).state is State.NOT_MET


@pytest.mark.parametrize(
    "criterion",
    [
        Angle(test="angle", mode="passive", at_most=-120),
        SideLoss(test="side_loss", mode="passive", at_least=-30),
    ],
)
def test_a_threshold_below_zero_is_no_threshold(criterion: Any) -> None:
    assert "below zero" in str(negative_threshold(criterion))
    assert negative_threshold(Length(test="length", at_least=-1))
    assert negative_threshold(Length(test="length", at_least=1)) is None


def test_no_threshold_below_zero_is_ever_said() -> None:
    said = _below(130, -120, 200, "130 degrees")
    assert said.state is State.SOFT
    assert said.because == "130 degrees"
    assert _near(_soft(0.5, "x"), "x", 20).because == "x: within error of 20"


def test_a_side_that_cannot_be_turned_out_gives_no_part_of_it_as_a_threshold() -> None:
    """The other side reads -5: half of it is no limit."""
    stiff = (angle("external_rotation_at_side", "left", 20),
             angle("external_rotation_at_side", "right", -5))  # fmt: skip
    criterion = SideLoss(test="side_loss", mode="passive", at_least=30, or_fraction=0.5)
    judge = Judge(PROTOCOL, record(*stiff), lambda *_: 10.0)
    assert "-" not in judge.criterion(criterion, "external_rotation_at_side", "left").because


def test_every_criterion_of_the_readings_is_at_or_above_zero() -> None:
    swept = 0
    for reading in PROTOCOL.readings:
        for limit in reading.criterion.model_dump(exclude_defaults=True).values():
            if isinstance(limit, int | float) and not isinstance(limit, bool):
                assert limit >= 0, reading.id
                swept += 1
    assert swept > 20
