"""Frames, joint angles and files of digitised landmarks."""

from __future__ import annotations

from pathlib import Path

import ezc3d
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from sidewise.errors import UserError
from sidewise.measure.motion.frames import (
    clavicle_frame,
    forearm_frame,
    humerus_frame,
    humerus_frame_by_forearm,
    scapula_frame,
    thorax_frame,
)
from sidewise.measure.motion.joints import (
    centre_by_regression,
    joint_angles,
    planar_angles,
    scapulohumeral_rhythm,
)
from sidewise.measure.motion.landmarks import mirror_landmarks, read_landmarks
from sidewise.measure.motion.rotations import compose_yxy, decompose_yxz

# Laboratory axes: X forward, Y up, Z right; millimetres. Expected axes worked out by hand from the
# definitions of Wu et al. 2005.
BODY = {
    code: np.array(place, float)
    for code, place in {
        "IJ": (0, 0, 0), "C7": (-120, 60, 0), "PX": (20, -160, 0), "T8": (-180, -140, 0),
        "AA": (-60, -10, 170), "TS": (-140, -15, 70), "AI": (-150, -130, 80),
        "SC": (-5, 5, 25), "AC": (-45, 20, 165),
        "GH": (0, -20, 170), "EL": (0, -320, 205), "EM": (0, -320, 145),
    }.items()
}  # fmt: skip


def test_thorax_axes() -> None:
    x, y, z = thorax_frame(BODY).T
    assert x == pytest.approx(np.array([0.9939, -0.1104, 0]), abs=5e-5)
    assert y == pytest.approx(np.array([0.1104, 0.9939, 0]), abs=5e-5)
    assert z == pytest.approx(np.array([0, 0, 1]))


def test_scapula_axes_and_angles() -> None:
    frame = scapula_frame(BODY)
    assert frame[:, 0] == pytest.approx(np.array([0.7781, -0.1213, -0.6164]), abs=5e-5)
    assert frame[:, 1] == pytest.approx(np.array([0.0706, 0.9919, -0.1060]), abs=5e-5)
    assert frame[:, 2] == pytest.approx(np.array([0.6242, 0.0390, 0.7803]), abs=5e-5)
    found = decompose_yxz(frame)
    assert (found.y, found.x, found.z) == pytest.approx((38.66, -2.24, -6.97), abs=0.005)


def test_clavicle_axes_and_angles() -> None:
    upright = np.eye(3)
    frame = clavicle_frame(BODY, upright)
    assert frame[:, 2] == pytest.approx(np.array([-0.2733, 0.1025, 0.9565]), abs=5e-5)
    assert frame[:, 0] == pytest.approx(np.array([0.9615, 0, 0.2747]), abs=5e-5)
    found = decompose_yxz(frame)
    assert (found.y, found.x, found.z) == pytest.approx((-15.95, -5.88, 0), abs=0.005)


def test_humerus_axes() -> None:
    frame = humerus_frame(BODY)
    assert frame[:, 1] == pytest.approx(np.array([0, 0.9999, -0.0167]), abs=5e-5)
    assert frame[:, 0] == pytest.approx(np.array([1, 0, 0]))


def test_forearm_option_agrees_where_the_elbow_is_square() -> None:
    # Elbow bent 90, forearm straight forward: its plane is that of movement, so both options agree.
    bent = {**BODY, "US": np.array([260.0, -320, 175]), "RS": np.array([260.0, -330, 235])}
    assert humerus_frame_by_forearm(bent) == pytest.approx(humerus_frame(BODY), abs=0.01)
    frame = forearm_frame(bent)
    assert frame[:, 1] == pytest.approx(np.array([-1, 0, 0]), abs=1e-9)


def _arm(plane: float, elevation: float, axial: float) -> dict[str, np.ndarray]:
    """The body with its arm in a posture given in the thorax frame."""
    turn = thorax_frame(BODY) @ compose_yxy(plane, elevation, axial)
    gh = BODY["GH"]
    return {
        **BODY,
        "EL": gh + turn @ np.array([0, -300.0, 30]),
        "EM": gh + turn @ np.array([0, -300.0, -30]),
    }


@pytest.mark.parametrize(
    ("plane", "elevation", "axial"),
    [(0, -90, 0), (90, -90, -90), (30, -120, -30), (0, -90, -80), (35, -70, 20)],
)
def test_posture_comes_back_from_landmarks(plane: float, elevation: float, axial: float) -> None:
    found = joint_angles(_arm(plane, elevation, axial)).thoracohumeral
    assert found is not None
    assert (found.plane, found.elevation, found.axial) == pytest.approx((plane, elevation, axial))


def _numbers(at: dict[str, np.ndarray]) -> list[float]:
    found = joint_angles(at)
    assert found.thoracohumeral
    assert found.glenohumeral
    assert found.scapulothoracic
    th, gh, blade = found.thoracohumeral, found.glenohumeral, found.scapulothoracic
    return [th.elevation, th.twist, gh.elevation, gh.twist, blade.y, blade.x, blade.z or 0.0]


@given(
    st.lists(st.floats(-1, 1), min_size=4, max_size=4),
    st.lists(st.floats(-2000, 2000), min_size=3, max_size=3),
)
def test_turning_and_moving_the_whole_body_changes_no_angle(
    turn: list[float], shift: list[float]
) -> None:
    quaternion = np.array(turn) + np.array([0, 0, 0, 1.5])
    rotation = Rotation.from_quat(quaternion).as_matrix()
    moved = {code: rotation @ place + np.array(shift) for code, place in _arm(35, -70, 20).items()}
    # Places up to 2 m with 1e-16 relative rounding over segments of 6 cm: far under 1e-8 degrees.
    assert _numbers(moved) == pytest.approx(_numbers(_arm(35, -70, 20)), abs=1e-7)


@given(st.floats(-170, 170), st.floats(-170, -5), st.floats(-170, 170))
def test_mirrored_left_arm_gives_the_right_arms_angles(
    plane: float, elevation: float, axial: float
) -> None:
    right = _arm(plane, elevation, axial)
    # A left arm is the mirror image of a right one, here across the laboratory's z.
    left = {code: place * np.array([1, 1, -1]) for code, place in right.items()}
    assert _numbers(mirror_landmarks(left)) == pytest.approx(_numbers(right), abs=1e-9)


def test_any_mirror_serves() -> None:
    right = _arm(35, -70, 20)
    across_x = {code: place * np.array([-1, 1, 1]) for code, place in right.items()}
    assert _numbers(mirror_landmarks(across_x)) == pytest.approx(_numbers(right))


def test_every_frame_is_orthonormal_and_right_handed() -> None:
    at = {**BODY, "US": np.array([200.0, -330, 150]), "RS": np.array([205.0, -300, 200])}
    frames = [thorax_frame(at), scapula_frame(at), humerus_frame(at), forearm_frame(at),
              humerus_frame_by_forearm(at), clavicle_frame(at, thorax_frame(at))]  # fmt: skip
    assert len(frames) == 6
    for frame in frames:
        assert frame.T @ frame == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(frame) == pytest.approx(1)


@pytest.mark.parametrize(("degrees", "refused"), [(2.9, True), (3.1, False)])
def test_collinear_landmarks_are_refused(degrees: float, refused: bool) -> None:
    angle = np.radians(degrees)
    flat = {**BODY, "TS": np.zeros(3), "AA": np.array([100.0, 0, 0]),
            "AI": 100 * np.array([np.cos(angle), np.sin(angle), 0])}  # fmt: skip
    if refused:
        with pytest.raises(UserError, match=r"scapula \(AA, TS, AI\).*collinear"):
            scapula_frame(flat)
    else:
        assert scapula_frame(flat).shape == (3, 3)


def test_two_landmarks_at_one_point_are_refused() -> None:
    with pytest.raises(UserError, match="two landmarks at one point"):
        scapula_frame({**BODY, "AA": BODY["TS"]})


def test_missing_landmark_is_named() -> None:
    with pytest.raises(UserError, match="no PX"):
        thorax_frame({code: place for code, place in BODY.items() if code != "PX"})


# An arm at true elevation e in plane g: what each view reads (projection, worked out by hand).
VIEWS = (
    (90, 120, 120.0, None), (0, 120, None, 120.0), (30, 120, 139.1, 123.7), (60, 90, 90.0, 90.0),
    (45, 60, 50.8, 50.8),
)  # fmt: skip


@pytest.mark.parametrize(("plane", "true", "sagittal", "frontal"), VIEWS)
def test_planar_views(
    plane: float, true: float, sagittal: float | None, frontal: float | None
) -> None:
    direction = -compose_yxy(plane, -true, 0)[:, 1]
    found = planar_angles(direction)
    assert found.elevation == pytest.approx(true)
    for seen, expected in ((found.sagittal, sagittal), (found.frontal, frontal)):
        assert seen is None if expected is None else seen == pytest.approx(expected, abs=0.05)


def test_classic_rhythm() -> None:
    # Inman, Saunders & Abbott 1944: about 120 degrees of arm on 60 of scapula.
    assert scapulohumeral_rhythm([0, 60, 120], [0, 25, 60]).ratio == pytest.approx(2.0)


def test_rhythm_of_a_scapula_that_hardly_turns_is_refused() -> None:
    with pytest.raises(UserError, match="at least 5 over the arc"):
        scapulohumeral_rhythm([0, 30], [0, 4.9])


def _scapula_for_regression(pc: tuple[float, float, float]) -> dict[str, np.ndarray]:
    # In the older frame: origin AC, x from TS to AC, y up, z backwards.
    return {"AC": np.zeros(3), "TS": np.array([-110.0, 0, 0]), "AI": np.array([-100.0, -120, 0]),
            "AA": np.array([-10.0, -5, 40]), "PC": np.array(pc)}  # fmt: skip


def test_regression_centre_lies_a_little_lateral_below_and_in_front() -> None:
    place = centre_by_regression(_scapula_for_regression((-20, -30, -60))).place
    assert 5 < place[0] < 30
    assert -40 < place[1] < -10
    assert -40 < place[2] < -10


def test_regression_in_other_units_is_refused() -> None:
    metres = {code: place * 10 for code, place in _scapula_for_regression((-20, -30, -60)).items()}
    with pytest.raises(UserError, match="mm from AC"):
        centre_by_regression(metres)


def _csv(tmp_path: Path, *rows: str, unit: str = "mm", side: str = "right") -> Path:
    path = tmp_path / "arm.csv"
    lines = [f"0,{code},{p[0]},{p[1]},{p[2]},{unit},{side}" for code, p in BODY.items()]
    path.write_text("\n".join(["frame,landmark,x,y,z,unit,side", *lines, *rows]), encoding="utf-8")
    return path


def test_csv_gives_the_angles_of_its_landmarks(tmp_path: Path) -> None:
    found = read_landmarks(_csv(tmp_path))
    assert found.frames == 1
    assert _numbers(found.at(0)) == pytest.approx(_numbers(BODY))


def test_centimetres_become_millimetres(tmp_path: Path) -> None:
    found = read_landmarks(_csv(tmp_path, unit="cm"))
    assert found.at(0)["C7"] == pytest.approx(10 * BODY["C7"])


def test_left_side_is_mirrored_on_reading(tmp_path: Path) -> None:
    assert read_landmarks(_csv(tmp_path, side="left")).at(0)["GH"][2] == -170


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("0,PC,1,2,3,cm,right", "column unit: got .mixed: cm, mm."),
        ("0,PC,1,2,3,mm,left", "column side: got .mixed: left, right."),
        ("0,XX,1,2,3,mm,right", "line 14, landmark: got .XX."),
        ("0,PC,1,two,3,mm,right", "line 14: .*a whole frame number and three numbers"),
        ("0,GH,1,2,3,mm,right", "a landmark twice in one frame"),
    ],
)
def test_csv_refuses(tmp_path: Path, row: str, message: str) -> None:
    with pytest.raises(UserError, match=message):
        read_landmarks(_csv(tmp_path, row))


def test_csv_without_units_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="column unit: got nothing"):
        read_landmarks(_csv(tmp_path, unit=""))


def test_absent_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no such file"):
        read_landmarks(tmp_path / "none.c3d")


def _c3d(tmp_path: Path, unit: str = "mm") -> Path:
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["UNITS"]["value"] = [unit]
    file["parameters"]["POINT"]["LABELS"]["value"] = list(BODY)
    file["parameters"]["POINT"]["RATE"]["value"] = [100]
    points = np.ones((4, len(BODY), 2))
    for place, code in enumerate(BODY):
        points[:3, place, :] = BODY[code][:, None]
    file["data"]["points"] = points
    path = tmp_path / "arm.c3d"
    file.write(str(path))
    return path


def test_c3d_gives_the_angles_of_its_landmarks(tmp_path: Path) -> None:
    found = read_landmarks(_c3d(tmp_path), side="right")
    assert found.frames == 2
    assert _numbers(found.at(1)) == pytest.approx(_numbers(BODY), abs=1e-4)  # Single precision.


def test_c3d_needs_its_side_and_unit(tmp_path: Path) -> None:
    with pytest.raises(UserError, match='"left" or "right"'):
        read_landmarks(_c3d(tmp_path))
    with pytest.raises(UserError, match=r"POINT:UNITS: got .inch."):
        read_landmarks(_c3d(tmp_path, "inch"), side="right")


def test_file_that_is_no_c3d_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "x.c3d"
    path.write_bytes(b"not a recording at all, only words")
    with pytest.raises(UserError, match="readable C3D file"):
        read_landmarks(path, side="right")
