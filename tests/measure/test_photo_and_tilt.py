"""Angles from a photograph and from a tilt sensor, with their errors."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sidewise.errors import UserError
from sidewise.measure.motion.photo import (
    Point,
    angle_at_joint,
    angle_from_plumb_line,
    angle_from_vertical,
    in_plane,
    true_from_seen,
)
from sidewise.measure.motion.tilt import Tilt, angle_between, angle_from_hanging, with_placement

JOINT = Point(500, 400)


def _limb(degrees: float, length: float = 300, joint: Point = JOINT) -> Point:
    """The end of a limb raised so far from hanging, y downwards."""
    return Point(joint.x + length * sin(radians(degrees)), joint.y + length * cos(radians(degrees)))


@pytest.mark.parametrize("degrees", [0, 30, 90, 120, 179])
def test_limb_against_the_trunk(degrees: float) -> None:
    assert angle_at_joint(_limb(0), JOINT, _limb(degrees)).degrees == pytest.approx(
        degrees, abs=1e-6
    )


@pytest.mark.parametrize("degrees", [0, 45, 90, 170])
def test_limb_against_the_vertical(degrees: float) -> None:
    assert angle_from_vertical(JOINT, _limb(degrees)).degrees == pytest.approx(degrees, abs=1e-6)


def test_limb_against_a_leaning_plumb_line() -> None:
    top, bottom = Point(100, 100), _limb(10, joint=Point(100, 100))
    found = angle_from_plumb_line(JOINT, _limb(100), top, bottom)
    assert found.degrees == pytest.approx(90)


@given(st.floats(15, 165), st.floats(0, 360), st.floats(60, 500), st.floats(60, 500))
def test_angle_does_not_see_turns_of_the_picture(
    degrees: float, turn: float, upper: float, lower: float
) -> None:
    trunk, limb = _limb(turn, upper), _limb(turn + degrees, lower)
    assert angle_at_joint(trunk, JOINT, limb).degrees == pytest.approx(degrees, abs=1e-6)


@pytest.mark.parametrize(
    ("degrees", "trunk", "limb"), [(40, 200, 150), (90, 300, 250), (140, 120, 300)]
)
def test_carried_error_agrees_with_simulation(degrees: float, trunk: float, limb: float) -> None:
    rng = np.random.default_rng(7)
    n, sd = 40_000, 3.0
    truth = np.array([[_limb(0, trunk).x, _limb(0, trunk).y], [JOINT.x, JOINT.y],
                      [_limb(degrees, limb).x, _limb(degrees, limb).y]])  # fmt: skip
    seen = truth + rng.normal(0, sd, (n, 3, 2))
    u, v = seen[:, 0] - seen[:, 1], seen[:, 2] - seen[:, 1]
    cross, dot = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0], (u * v).sum(axis=1)
    spread = np.degrees(np.abs(np.arctan2(cross, dot))).std()
    found = angle_at_joint(_limb(0, trunk), JOINT, _limb(degrees, limb))
    # 3 / sqrt(2 n) is three standard errors of a simulated SD; the second order adds under 1%.
    assert found.sd == pytest.approx(spread, rel=3 / (2 * n) ** 0.5 + 0.01)


def test_longer_limbs_in_the_picture_give_a_smaller_error() -> None:
    near = angle_at_joint(_limb(0, 100), JOINT, _limb(90, 100))
    far = angle_at_joint(_limb(0, 400), JOINT, _limb(90, 400))
    assert far.sd == pytest.approx(near.sd / 4)


def test_camera_that_is_not_level_widens_the_error() -> None:
    level = angle_from_vertical(JOINT, _limb(90), vertical_sd=0.001)
    held = angle_from_vertical(JOINT, _limb(90), vertical_sd=4)
    assert held.sd == pytest.approx((level.sd**2 + 16) ** 0.5, rel=1e-4)


def test_three_clicks_on_one_point_are_refused() -> None:
    with pytest.raises(UserError, match="Three different points are needed"):
        angle_at_joint(JOINT, JOINT, JOINT)


@pytest.mark.parametrize(("gap", "refused"), [(14.9, True), (15.1, False)])
def test_points_within_five_sds_are_refused(gap: float, refused: bool) -> None:
    if refused:
        with pytest.raises(UserError, match=r"15 pixels from the other|at least 15 pixels"):
            angle_at_joint(_limb(0, gap), JOINT, _limb(90))
    else:
        assert angle_at_joint(_limb(0, gap), JOINT, _limb(90)).sd > 10


@pytest.mark.parametrize(("x", "y"), [(float("nan"), 1), (1, float("inf"))])
def test_point_outside_any_picture_is_refused(x: float, y: float) -> None:
    with pytest.raises(UserError, match="a place in the picture"):
        Point(x, y)


@pytest.mark.parametrize(("off", "seen"), [(30, 123.7), (60, 139.1)])
def test_view_off_the_plane_reads_too_high(off: float, seen: float) -> None:
    # A true 120 degrees seen from off the plane of movement (projection, worked out by hand).
    assert true_from_seen(seen, off) == pytest.approx(120, abs=0.05)


def test_camera_along_the_limb_is_refused() -> None:
    with pytest.raises(UserError, match="between -90 and 90"):
        true_from_seen(100, 90)


def test_allowing_for_a_tilted_view_adds_its_span() -> None:
    read = angle_at_joint(_limb(0), JOINT, _limb(123.7))
    assert in_plane(read, 30).sd == pytest.approx((read.sd**2 + 3.7**2) ** 0.5, abs=0.02)


@pytest.mark.parametrize(("beta", "degrees"), [(90, 0), (0, 90), (-90, 180), (45, 45), (-30, 120)])
def test_phone_along_a_raised_limb(beta: float, degrees: float) -> None:
    assert angle_from_hanging(Tilt(beta, 0)).degrees == pytest.approx(degrees)


@given(st.floats(0, 360), st.floats(-180, 180), st.floats(-89, 89))
def test_up_agrees_with_scipy_whatever_the_compass_says(
    alpha: float, beta: float, gamma: float
) -> None:
    turn = Rotation.from_euler("ZXY", [alpha, beta, gamma], degrees=True)
    assert Tilt(beta, gamma).up == pytest.approx(tuple(turn.inv().apply([0, 0, 1])), abs=1e-12)


def test_two_readings_give_the_turn_between_them() -> None:
    found = angle_between(Tilt(90, 0), Tilt(-20, 0))
    assert found.degrees == pytest.approx(110)
    assert found.sd == pytest.approx(2**0.5)


def test_turn_about_the_vertical_is_said_to_be_invisible() -> None:
    assert (
        "cannot see a turn about the vertical" in angle_between(Tilt(0, 0), Tilt(0, 0)).cautions[0]
    )


def test_placement_error_is_added_in_quadrature() -> None:
    assert with_placement(angle_from_hanging(Tilt(0, 0), sd=3), 4).sd == pytest.approx(5)


@pytest.mark.parametrize(
    ("beta", "gamma", "which"), [(181, 0, "beta"), (0, 91, "gamma"), (float("nan"), 0, "beta")]
)
def test_impossible_tilt_is_refused(beta: float, gamma: float, which: str) -> None:
    with pytest.raises(UserError, match=which):
        Tilt(beta, gamma)
