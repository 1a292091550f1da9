"""The posture that stands for a measurement."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.figure import Atlas, load_atlas
from sidewise.figure.choose import height
from tests.figure.conftest import ATLAS


@pytest.mark.parametrize(
    ("item", "angle", "movement", "shown"),
    [
        ("flexion", 0, "rest", 0),
        ("flexion", 7, "rest", 0),
        ("flexion", 8, "flexion", 15),
        ("flexion", 100, "flexion", 105),
        ("abduction", 97.5, "abduction", 90),
        ("external_rotation_at_side", 20, "rotation at side", 15),
        ("external_rotation_at_side", -20, "rotation at side", -15),
        ("internal_rotation_at_90", 45, "rotation at 90", -45),
        ("external_rotation_at_90", 80, "rotation at 90", 75),
        ("extension", 40, "extension", 45),
    ],
)
def test_nearest_posture_is_shown(
    atlas: Atlas, item: str, angle: float, movement: str, shown: float
) -> None:
    choice = atlas.choose(item, angle)
    assert (choice.movement, choice.shown, choice.beyond) == (movement, shown, False)


@pytest.mark.parametrize(
    ("item", "angle", "shown", "beyond"),
    [
        ("flexion", 187, 180, False),
        ("flexion", 188, 180, True),
        ("extension", 67, 60, False),
        ("extension", 68, 60, True),
        ("external_rotation_at_side", -68, -60, True),
        ("internal_rotation_at_90", 98, -90, True),
    ],
)
def test_beyond_the_atlas_the_last_posture_is_flagged(
    atlas: Atlas, item: str, angle: float, shown: float, beyond: bool
) -> None:
    choice = atlas.choose(item, angle)
    assert (choice.shown, choice.beyond) == (shown, beyond)


def test_beyond_the_atlas_the_number_is_said(atlas: Atlas) -> None:
    assert (
        atlas.choose("extension", 80).words
        == "extension 80 degrees, drawn at 60, the last posture there is"
    )


def test_internal_rotation_is_said_in_its_own_direction(atlas: Atlas) -> None:
    assert (
        atlas.choose("internal_rotation_at_90", 50).words
        == "internal rotation at 90 50 degrees, drawn at 45"
    )


@given(st.floats(0, 187))
def test_a_picture_is_within_half_a_step(angle: float) -> None:
    choice = load_atlas(ATLAS).choose("flexion", angle)
    assert isinstance(choice.shown, float)
    assert abs(choice.shown - angle) <= 7.5


@given(st.integers(0, 12))
def test_of_two_equally_near_the_lesser_movement_is_shown(step: int) -> None:
    atlas = load_atlas(ATLAS)
    halfway = step * 15 + 7.5
    choice = atlas.choose("external_rotation_at_90", halfway - 90)
    assert choice.shown == step * 15 - 90


@pytest.mark.parametrize(
    ("level", "shown", "beyond"),
    [
        ("thigh", "thigh", False),
        ("sacrum", "L5", False),
        ("L4", "L5", False),
        ("L1", "T12", False),
        ("T8", "T7", False),
        ("T4", "T5", False),
        ("T3", "T5", True),
        ("C7", "T5", True),
    ],
)
def test_hand_behind_back_goes_by_level(atlas: Atlas, level: str, shown: str, beyond: bool) -> None:
    choice = atlas.choose("internal_rotation_behind_back", level)
    assert (choice.shown, choice.beyond) == (shown, beyond)


def test_levels_grow_upwards() -> None:
    ladder = [
        "thigh",
        "buttock",
        "sacrum",
        *(f"L{k}" for k in range(5, 0, -1)),
        *(f"T{k}" for k in range(12, 0, -1)),
        "C7",
        "C6",
    ]
    assert [height(level) for level in ladder] == sorted({height(level) for level in ladder})


@pytest.mark.parametrize("level", ["T13", "L0", "shoulder", "", "T", "l3"])
def test_unknown_levels_are_refused(level: str) -> None:
    with pytest.raises(UserError, match="a vertebra such as L3 or T7"):
        height(level)


def test_hitching_is_drawn_where_it_is_seen(atlas: Atlas) -> None:
    assert atlas.choose("abduction", 60, hitching=True).drawn == "abduction, hitching"
    # Lower and higher than is drawn hitching, the usual posture stands for it.
    assert not atlas.choose("abduction", 10, hitching=True).hitching
    assert not atlas.choose("abduction", 170, hitching=True).hitching


@pytest.mark.parametrize("angle", [float("nan"), float("inf")])
def test_an_angle_that_is_no_number_is_refused(atlas: Atlas, angle: float) -> None:
    with pytest.raises(UserError, match="a number of degrees"):
        atlas.choose("flexion", angle)


def test_unknown_movements_and_kinds_are_refused(atlas: Atlas) -> None:
    with pytest.raises(UserError, match="expected one of abduction"):
        atlas.choose("circumduction", 10)
    with pytest.raises(UserError, match="expected a level"):
        atlas.choose("hand behind back", 30)
    with pytest.raises(UserError, match="expected a number of degrees"):
        atlas.choose("flexion", "T7")
