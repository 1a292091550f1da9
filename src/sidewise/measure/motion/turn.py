"""An angle from gravity in a movement's own terms: its zero, its axis, its side.

The patient's axes are right, front and head (right x front = head). A posture says which of them is
up. From them follow the two numbers that a phone or a picture needs: the direction of the limb at
zero, and which way round it turns.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import atan2, cos, degrees, hypot, radians, sin

from sidewise.errors import UserError
from sidewise.kinds.common.sightlines import Sightlines
from sidewise.measure.motion.photo import AngleRead, Point
from sidewise.measure.motion.tilt import SENSOR_SD, Tilt

Vector = tuple[float, float, float]

FIXED: dict[str, Vector] = {
    "head": (0, 0, 1), "feet": (0, 0, -1), "front": (0, 1, 0), "back": (0, -1, 0),
}  # fmt: skip
UP: dict[str, Vector] = {
    "upright": FIXED["head"], "on the back": FIXED["front"], "face down": FIXED["back"],
}  # fmt: skip
SQUARE = 25.0
"""Degrees that the screen may look away from the axis before it is said; our judgement: the angle
itself is off by less than 5 degrees up to there over most of a range."""


@dataclass(frozen=True, slots=True)
class Turn:
    """The direction at zero in degrees, and 1 or -1 for the sense in which it grows.

    `low` and `high` are the limits of the movement: of the readings a whole turn apart the one
    nearest their middle is meant.
    """

    zero: float
    sense: int
    low: float
    high: float

    def angle(self, direction: float) -> float:
        """The movement's angle from a direction, both in degrees."""
        middle = (self.low + self.high) / 2
        raw = self.sense * (direction - self.zero) - middle
        return middle + 180.0 - (180.0 - raw) % 360.0


def gravity_turn(lines: Sightlines, side: str, low: float, high: float) -> Turn:
    """For a phone laid along the moving part, its top towards the joint, its screen as stated.

    The direction is atan2(up . x, up . y) of the upward vertical in the phone's axes: 0 hanging.
    UserError where gravity cannot see the movement.
    """
    limb, toward, faces, up = _checked(lines, side)

    def direction(angle: float) -> float:
        top = _scaled(_turned(limb, toward, angle), -1)
        across = _cross(top, faces)
        return degrees(atan2(_dot(up, across), _dot(up, top)))

    return _turn(direction, low, high)


def picture_turn(lines: Sightlines, side: str, low: float, high: float) -> Turn:
    """For a photograph from where the screen would look, the camera level.

    The direction is atan2(down, right) in the picture, measured from the trunk (shoulder to hip)
    or from straight down, as `against` has it.
    """
    limb, toward, faces, up = _checked(lines, side)
    right = _cross(up, faces)
    trunk = FIXED["feet"] if lines.against == "trunk" else _scaled(up, -1)
    base = _seen(trunk, right, up)

    def direction(angle: float) -> float:
        return _seen(_turned(limb, toward, angle), right, up) - base

    return _turn(direction, low, high)


def angle_from_tilt(reading: Tilt, turn: Turn, *, sd: float = SENSOR_SD) -> AngleRead:
    """The movement's angle from one reading of the sensor, its error and what to beware of."""
    x, y, z = reading.up
    away = degrees(atan2(abs(z), hypot(x, y)))
    caution: tuple[str, ...] = ()
    if away > SQUARE:
        caution = (f"The screen looks {away:.0f} degrees away from the axis: turn the phone.",)
    return AngleRead(turn.angle(degrees(atan2(x, y))), sd / max(cos(radians(away)), 0.1), caution)


def angle_from_picture(joint: Point, distal: Point, proximal: Point | None, turn: Turn) -> float:
    """The movement's angle in degrees; without a point of the trunk from straight down."""
    base = 90.0
    if proximal is not None:
        base = degrees(atan2(proximal.y - joint.y, proximal.x - joint.x))
    return turn.angle(degrees(atan2(distal.y - joint.y, distal.x - joint.x)) - base)


def _turn(direction: Callable[[float], float], low: float, high: float) -> Turn:
    zero = direction(0.0)
    step = 180.0 - (180.0 - (direction(10.0) - zero)) % 360.0
    return Turn(zero + 0.0, 1 if step > 0 else -1, low, high)


def _checked(lines: Sightlines, side: str) -> tuple[Vector, Vector, Vector, Vector]:
    out: Vector = (-1, 0, 0) if side == "left" else (1, 0, 0)
    axes = {**FIXED, "out": out, "in": _scaled(out, -1)}
    limb, toward, faces = axes[lines.limb], axes[lines.toward], axes[lines.faces]
    up = UP[lines.posture]
    if _dot(limb, toward) or _dot(limb, faces) or _dot(toward, faces):
        raise UserError("sightlines", f"{lines.limb}, {lines.toward}, {lines.faces}",
                        "three directions square to each other")  # fmt: skip
    if _dot(up, faces):
        raise UserError("sightlines", f"{lines.posture}, facing {lines.faces}", "a level axis",
                        "Gravity sees no turn about the vertical.")  # fmt: skip
    return limb, toward, faces, up


def _turned(limb: Vector, toward: Vector, angle: float) -> Vector:
    c, s = cos(radians(angle)), sin(radians(angle))
    return _added(_scaled(limb, c), _scaled(toward, s))


def _seen(way: Vector, right: Vector, up: Vector) -> float:
    return degrees(atan2(-_dot(way, up), _dot(way, right)))


def _dot(a: Vector, b: Vector) -> float:
    return sum(p * q for p, q in zip(a, b, strict=True))


def _cross(a: Vector, b: Vector) -> Vector:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def _scaled(a: Vector, by: float) -> Vector:
    return (a[0] * by, a[1] * by, a[2] * by)


def _added(a: Vector, b: Vector) -> Vector:
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])
