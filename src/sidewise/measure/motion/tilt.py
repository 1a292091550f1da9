"""Angles from a phone's tilt sensor: against gravity, or from one reading to another."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, cos, degrees, hypot, isfinite, radians, sin, sqrt

from sidewise.errors import UserError
from sidewise.measure.motion.photo import AngleRead

SENSOR_SD = 1.0  # degrees per reading: our judgement for a hand-held phone at rest.
BLIND = (
    "Gravity cannot see a turn about the vertical: measure rotation lying, so that the forearm "
    "moves up and down."
)


@dataclass(frozen=True, slots=True)
class Tilt:
    """One reading of the orientation sensor in degrees, as browsers give it.

    beta turns about the device's x axis (-180 to 180), gamma about its y axis (-90 to 90); the
    compass angle is not needed. W3C Device Orientation and Motion, section on the event's angles.
    """

    beta: float
    gamma: float

    def __post_init__(self) -> None:
        if not (isfinite(self.beta) and -180 <= self.beta <= 180):
            raise UserError("beta", self.beta, "degrees from -180 to 180")
        if not (isfinite(self.gamma) and -90 <= self.gamma <= 90):
            raise UserError("gamma", self.gamma, "degrees from -90 to 90")

    @property
    def up(self) -> tuple[float, float, float]:
        """The upward vertical in the device's axes (x right, y to its top, z out of the screen).

        Third row of Rz(alpha) Rx(beta) Ry(gamma): (-cos b sin g, sin b, cos b cos g).
        """
        b, g = radians(self.beta), radians(self.gamma)
        return (-cos(b) * sin(g), sin(b), cos(b) * cos(g))


def angle_from_hanging(reading: Tilt, *, sd: float = SENSOR_SD) -> AngleRead:
    """How far the device's long axis has been raised from hanging, 0 to 180 degrees.

    The phone lies along the limb, its top towards the joint: hanging, the top points up and the
    angle is 0. acos(up . y) = acos(sin beta).
    """
    return AngleRead(_arc(reading.up[1]), sd, (BLIND,))


def angle_between(first: Tilt, second: Tilt, *, sd: float = SENSOR_SD) -> AngleRead:
    """How far the device turned against gravity between two readings, 0 to 180 degrees.

    acos(up1 . up2): the turn about a level axis; both readings err, so the sd is sqrt(2) sd.
    """
    same = sum(a * b for a, b in zip(first.up, second.up, strict=True))
    return AngleRead(_arc(same), sqrt(2) * sd, (BLIND,))


def with_placement(read: AngleRead, placement_sd: float) -> AngleRead:
    """The same angle with the error of laying the phone on the limb added in quadrature."""
    return AngleRead(read.degrees, hypot(read.sd, placement_sd), read.cautions)


def _arc(cosine: float) -> float:
    return degrees(acos(max(-1.0, min(1.0, cosine))))
