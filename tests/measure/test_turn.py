"""A simulated phone and camera over every movement and both sides, by another library's rotations.

What each movement is (where the limb points at zero, about what it turns, which way is more) is
written here from the goniometry taught in handbooks (Norkin & White, Measurement of Joint Motion,
recalled) and from the texts of the protocol, not from the data that is tested.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sidewise.errors import UserError
from sidewise.kinds.angle import AngleLimits
from sidewise.kinds.common.sightlines import Sightlines
from sidewise.measure.motion.photo import Point
from sidewise.measure.motion.tilt import Tilt
from sidewise.measure.motion.turn import (
    angle_from_picture,
    angle_from_tilt,
    gravity_turn,
    picture_turn,
)
from tests.shoulder import PROTOCOL

# The reference library says so where the phone stands upright; the vertical is sure there too.
pytestmark = pytest.mark.filterwarnings("ignore:Gimbal lock")

RIGHT, FRONT, HEAD = np.eye(3)
# Movement: posture's up, limb at zero, axis of a positive turn of the RIGHT side (right hand rule),
# and where the screen and the camera look from.
MOVEMENTS: dict[str, tuple[Any, Any, Any, Any]] = {
    "flexion": (HEAD, -HEAD, RIGHT, RIGHT),
    "extension": (HEAD, -HEAD, -RIGHT, RIGHT),
    "abduction": (HEAD, -HEAD, -FRONT, FRONT),
    "scaption": (HEAD, -HEAD, -FRONT, FRONT),
    "abduction_scapula_held": (HEAD, -HEAD, -FRONT, FRONT),
    "hyperabduction": (HEAD, -HEAD, -FRONT, FRONT),
    "external_rotation_at_side": (FRONT, FRONT, -HEAD, -HEAD),
    "external_rotation_at_90": (FRONT, FRONT, RIGHT, RIGHT),
    "internal_rotation_at_90": (FRONT, FRONT, -RIGHT, RIGHT),
    "cross_body_adduction": (FRONT, RIGHT, HEAD, HEAD),
    "neck_flexion": (HEAD, HEAD, -RIGHT, RIGHT),
    "neck_extension": (HEAD, HEAD, RIGHT, RIGHT),
    "neck_side_bend": (HEAD, HEAD, FRONT, FRONT),
    "neck_rotation": (FRONT, FRONT, -HEAD, HEAD),
}
MIRROR = np.diag([-1.0, 1.0, 1.0])


def limits_of(item: str) -> AngleLimits:
    """The limits that the protocol sets for the angle of an item."""
    return next(k for k in PROTOCOL.item(item).kinds if isinstance(k, AngleLimits))


def moved(item: str, side: str, degrees: float) -> tuple[Any, Any, Any]:
    """Up, the limb after a turn by so many degrees, and where the screen looks; world axes."""
    up, limb, axis, screen = MOVEMENTS[item]
    turned = Rotation.from_rotvec(np.radians(degrees) * axis).apply(limb)
    if item == "scaption":
        # The plane of the blade, 35 degrees in front of the frontal plane.
        plane = Rotation.from_rotvec(np.radians(35) * HEAD)
        turned, screen = plane.apply(turned), plane.apply(screen)
    if side == "left":
        turned, screen = MIRROR @ turned, MIRROR @ screen
    return up, turned, screen


def phone(up: Any, limb: Any, screen: Any) -> Tilt:
    """What the sensor says of a phone whose top looks to the joint: Z-X'-Y'' (W3C)."""
    top = -limb
    device = np.column_stack([np.cross(top, screen), top, screen])
    # Any world frame with the vertical as its third axis.
    east = np.cross(up, [0.3, 0.5, 0.7])
    east /= np.linalg.norm(east)
    world = np.vstack([east, np.cross(up, east), up])
    matrix = Rotation.from_matrix(world @ device)
    with np.errstate(all="ignore"):
        _, beta, gamma = matrix.as_euler("ZXY", degrees=True)
    if abs(gamma) > 90:
        # The same orientation within the ranges of the standard: beta in 360, gamma in 180.
        beta, gamma = (180 - beta) - 360 * (180 - beta > 180), gamma - np.sign(gamma) * 180
    return Tilt(float(beta), float(gamma))


def places() -> list[tuple[str, str]]:
    """Every movement with each of its sides."""
    return [
        (item, side)
        for item in MOVEMENTS
        for side in (("right", "left") if PROTOCOL.item(item).paired else ("midline",))
    ]


def angles(item: str) -> Any:
    """Angles over the whole range of the movement, its limits included."""
    limits = limits_of(item)
    return np.linspace(limits.low, limits.high, 23) + 0.0


def test_every_angle_of_the_protocol_says_how_it_is_read() -> None:
    read = [
        item.id
        for item in PROTOCOL.items
        for kind in item.kinds
        if isinstance(kind, AngleLimits) and kind.sightlines
    ]
    assert sorted(read) == sorted(MOVEMENTS)
    assert [i.id for i in PROTOCOL.items if any(k.kind == "angle" for k in i.kinds)] == read


@pytest.mark.parametrize(("item", "side"), places())
def test_the_phone_reads_the_angle_of_every_movement(item: str, side: str) -> None:
    limits = limits_of(item)
    assert limits.sightlines
    turn = gravity_turn(limits.sightlines, side, limits.low, limits.high)
    for degrees in angles(item):
        read = angle_from_tilt(phone(*moved(item, side, degrees)), turn)
        assert read.degrees == pytest.approx(degrees, abs=1e-4)
        assert read.cautions == ()


@pytest.mark.parametrize(("item", "side"), places())
def test_the_photograph_reads_the_angle_of_every_movement(item: str, side: str) -> None:
    limits = limits_of(item)
    assert limits.sightlines
    turn = picture_turn(limits.sightlines, side, limits.low, limits.high)
    joint = Point(500, 400)
    for degrees in angles(item):
        up, limb, screen = moved(item, side, degrees)
        right = np.cross(up, screen)
        # The trunk leans 7 degrees in the picture: only what is measured from it may follow.
        lean = Rotation.from_rotvec(np.radians(7) * screen)
        leans = limits.sightlines.against == "trunk"
        limb, hip = (lean.apply(limb), lean.apply(-up)) if leans else (limb, -up)

        def point(way: Any, right: Any = right, up: Any = up) -> Point:
            return Point(500 + 200 * float(way @ right), 400 - 200 * float(way @ up))

        seen = angle_from_picture(joint, point(limb), point(hip) if leans else None, turn)
        assert seen == pytest.approx(degrees, abs=1e-6)


def test_a_forearm_upright_on_the_back_is_zero_rotation() -> None:
    limits = limits_of("external_rotation_at_side")
    assert limits.sightlines
    for side in ("right", "left"):
        turn = gravity_turn(limits.sightlines, side, limits.low, limits.high)
        upright = phone(*moved("external_rotation_at_side", side, 0))
        assert angle_from_tilt(upright, turn).degrees == pytest.approx(0, abs=1e-6)


def test_a_forearm_short_of_zero_is_a_minus_figure_on_either_side() -> None:
    limits = limits_of("external_rotation_at_side")
    assert limits.sightlines
    for side in ("right", "left"):
        turn = gravity_turn(limits.sightlines, side, limits.low, limits.high)
        short = phone(*moved("external_rotation_at_side", side, -20))
        assert angle_from_tilt(short, turn).degrees == pytest.approx(-20, abs=1e-6)


def test_a_screen_that_looks_elsewhere_is_said() -> None:
    limits = limits_of("flexion")
    assert limits.sightlines
    turn = gravity_turn(limits.sightlines, "right", limits.low, limits.high)
    # Lying flat, the screen up: the sensor sees hardly anything of a turn about the axis.
    (caution,) = angle_from_tilt(Tilt(30, 10), turn).cautions
    assert "away from the axis" in caution


def test_an_axis_that_stands_upright_is_refused() -> None:
    blind = Sightlines(posture="upright", limb="front", toward="out", faces="head",
                       lay="along the forearm", against="vertical")  # fmt: skip
    with pytest.raises(UserError, match="level axis"):
        gravity_turn(blind, "right", 0, 90)


def test_directions_that_are_not_square_are_refused() -> None:
    odd = Sightlines(posture="upright", limb="feet", toward="head", faces="out",
                     lay="along the arm", against="trunk")  # fmt: skip
    with pytest.raises(UserError, match="square to each other"):
        picture_turn(odd, "right", 0, 90)
