"""Y-X-Y and Y-X-Z: postures of the standard's conventions, and an outside library."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sidewise.errors import UserError
from sidewise.measure.motion.rotations import (
    compose_yxy,
    compose_yxz,
    decompose_yxy,
    decompose_yxz,
    rotation_x,
    rotation_y,
    rotation_z,
    wrap_degrees,
)

TURNS = st.floats(-179, 179)

# Right arm in the thorax frame; worked out from the conventions of Wu et al. 2005.
POSTURES = (
    ("abduction 90", rotation_x(-90), 0, -90, 0),
    ("flexion 90", rotation_z(90), 90, -90, -90),
    ("flexion 150", rotation_z(150), 90, -150, -90),
    ("extension 40", rotation_z(-40), -90, -40, 90),
    ("scapular plane 120", rotation_y(30) @ rotation_x(-120) @ rotation_y(-30), 30, -120, -30),
    ("abduction 90, external 80", rotation_x(-90) @ rotation_y(-80), 0, -90, -80),
    ("abduction 90, internal 60", rotation_x(-90) @ rotation_y(60), 0, -90, 60),
    ("past straight forward", rotation_y(120) @ rotation_x(-90), 120, -90, 0),
    ("generic", rotation_y(35) @ rotation_x(-70) @ rotation_y(20), 35, -70, 20),
)


@pytest.mark.parametrize(("name", "matrix", "plane", "elevation", "axial"), POSTURES)
def test_posture(
    name: str, matrix: np.ndarray, plane: float, elevation: float, axial: float
) -> None:
    found = decompose_yxy(matrix)
    assert not found.gimbal
    assert (found.plane, found.elevation, found.axial) == pytest.approx((plane, elevation, axial))


def test_generic_matrix_digit_by_digit() -> None:
    printed = [[0.7027, -0.5390, 0.4645], [-0.3214, 0.3420, 0.8830], [-0.6348, -0.7698, 0.0671]]
    assert compose_yxy(35, -70, 20) == pytest.approx(np.array(printed), abs=5e-5)


def test_arm_at_the_side_gives_only_the_sum() -> None:
    found = decompose_yxy(rotation_y(-45))
    assert (found.plane, found.axial, found.gimbal) == (None, None, True)
    assert (found.elevation, found.twist) == pytest.approx((0, -45))
    assert "only their sum" in found.caution


def test_anatomical_posture_has_no_twist() -> None:
    found = decompose_yxy(np.eye(3))
    assert (found.plane, found.twist, found.shown_elevation) == (None, 0, 0)


def test_straight_up_gives_only_the_difference() -> None:
    found = decompose_yxy(compose_yxy(50, -180, 20))
    assert found.twist == pytest.approx(30)
    assert "only their difference" in found.caution


@pytest.mark.parametrize(
    ("elevation", "gimbal"), [(-0.9, True), (-1.1, False), (-178.9, False), (-179.1, True)]
)
def test_pole_is_one_degree_wide(elevation: float, gimbal: bool) -> None:
    assert decompose_yxy(compose_yxy(30, elevation, 10)).gimbal is gimbal


@given(TURNS, st.floats(-178, -2), TURNS)
def test_yxy_composes_back(plane: float, elevation: float, axial: float) -> None:
    found = decompose_yxy(compose_yxy(plane, elevation, axial))
    assert found.plane is not None
    assert found.axial is not None
    again = compose_yxy(found.plane, found.elevation, found.axial)
    assert again == pytest.approx(compose_yxy(plane, elevation, axial), abs=1e-9)


@given(TURNS, st.floats(-88, 88), TURNS)
def test_yxz_composes_back(y: float, x: float, z: float) -> None:
    found = decompose_yxz(compose_yxz(y, x, z))
    assert (found.y, found.x, found.z) == pytest.approx((y, x, z), abs=1e-8)


@given(TURNS, st.floats(-178, -2), TURNS)
def test_yxy_agrees_with_scipy(plane: float, elevation: float, axial: float) -> None:
    matrix = Rotation.from_euler("YXY", [plane, elevation, axial], degrees=True).as_matrix()
    found = decompose_yxy(matrix)
    # scipy takes the middle angle from 0 to 180: the same rotation with both outer turns by 180.
    first, middle, last = Rotation.from_matrix(matrix).as_euler("YXY", degrees=True)
    assert found.elevation == pytest.approx(-middle, abs=1e-6)
    for ours, theirs in ((found.plane, first), (found.axial, last)):
        assert ours is not None
        assert abs(wrap_degrees(ours - theirs - 180)) < 1e-6


@given(TURNS, st.floats(-88, 88), TURNS)
def test_yxz_agrees_with_scipy(y: float, x: float, z: float) -> None:
    matrix = compose_yxz(y, x, z)
    theirs = Rotation.from_matrix(matrix).as_euler("YXZ", degrees=True)
    found = decompose_yxz(matrix)
    assert [found.y, found.x, found.z] == pytest.approx(list(theirs), abs=1e-6)


def test_middle_turn_of_90_is_said() -> None:
    found = decompose_yxz(compose_yxz(20, 90, 10))
    assert (found.z, found.gimbal) == (None, True)
    assert "cannot be told apart" in found.caution


def test_reflection_is_refused() -> None:
    with pytest.raises(UserError, match="determinant -1"):
        decompose_yxy(np.diag([1.0, 1.0, -1.0]))


def test_matrix_that_is_no_rotation_is_refused() -> None:
    with pytest.raises(UserError, match="orthonormal 3 x 3"):
        decompose_yxz(np.ones((3, 3)))
