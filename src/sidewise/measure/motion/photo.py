"""The angle in a photograph from three points, the points' uncertainty carried through."""

from __future__ import annotations

from dataclasses import dataclass
from math import acos, atan2, cos, degrees, hypot, isfinite, radians, sin, sqrt

from sidewise.errors import UserError

POINT_SD = 3.0  # pixels: our judgement for a finger or mouse on a skin landmark.
TOO_CLOSE = 5.0  # SDs of a point: nearer than this, the direction of a limb is not known.
SQUARE_TO_PLANE = (
    "The camera must stand square to the plane of movement: at 120 degrees a view 30 degrees off "
    "reads about 4 degrees too high, one 60 degrees off about 19."
)


@dataclass(frozen=True, slots=True)
class Point:
    """A point in the picture: x to the right, y downwards, sd of its place, all in pixels."""

    x: float
    y: float
    sd: float = POINT_SD

    def __post_init__(self) -> None:
        if not (isfinite(self.x) and isfinite(self.y)):
            raise UserError("point", f"{self.x}, {self.y}", "a place in the picture")
        if not self.sd > 0:
            raise UserError("point", self.sd, "an uncertainty above 0 pixels")


@dataclass(frozen=True, slots=True)
class AngleRead:
    """An angle from a picture or a sensor, its standard error, and its cautions."""

    degrees: float
    sd: float
    cautions: tuple[str, ...] = (SQUARE_TO_PLANE,)


@dataclass(frozen=True, slots=True)
class Arrow:
    """From one point to another, with the gradient of its direction by either end, per pixel."""

    tail: Point
    head: Point

    @property
    def direction(self) -> float:
        """Direction in radians, y downwards."""
        return atan2(self.head.y - self.tail.y, self.head.x - self.tail.x)

    @property
    def slope(self) -> complex:
        """Gradient of the direction by the head: (-dy, dx) / length^2; by the tail the negative."""
        dx, dy = self.head.x - self.tail.x, self.head.y - self.tail.y
        square = dx * dx + dy * dy
        return complex(-dy / square, dx / square)


def angle_at_joint(proximal: Point, joint: Point, distal: Point) -> AngleRead:
    """The angle between trunk (joint to proximal) and limb (joint to distal), 0 to 180 degrees.

    theta = |direction(joint to distal) - direction(joint to proximal)|. First order: with g the
    gradient of theta by a point, var(theta) = sum of sd^2 |g|^2; the joint moves both directions.
    Near 0 and 180 the fold makes the true error smaller than this. UserError where two points lie
    nearer than 5 of their SDs. Propagation of error: JCGM 100:2008 (GUM), 5.1.2.
    """
    reference, limb = _arrow("proximal", joint, proximal), _arrow("distal", joint, distal)
    by_joint = limb.slope - reference.slope
    variance = (
        (distal.sd * abs(limb.slope)) ** 2
        + (proximal.sd * abs(reference.slope)) ** 2
        + (joint.sd * abs(by_joint)) ** 2
    )
    return AngleRead(_folded(limb.direction - reference.direction), degrees(sqrt(variance)))


def angle_from_vertical(joint: Point, distal: Point, *, vertical_sd: float = 1.0) -> AngleRead:
    """The angle of a limb from straight down, 0 to 180 degrees, the camera held level.

    `vertical_sd`: how far the camera's vertical may be off, in degrees (our judgement: 1).
    """
    limb = _arrow("distal", joint, distal)
    own = hypot(joint.sd, distal.sd) * abs(limb.slope)
    down = radians(90)
    return AngleRead(_folded(limb.direction - down), hypot(degrees(own), vertical_sd))


def angle_from_plumb_line(joint: Point, distal: Point, top: Point, bottom: Point) -> AngleRead:
    """The angle of a limb from a vertical seen in the picture (door frame, plumb line)."""
    limb, plumb = _arrow("distal", joint, distal), _arrow("vertical", top, bottom)
    own = hypot(joint.sd, distal.sd) * abs(limb.slope)
    line = hypot(top.sd, bottom.sd) * abs(plumb.slope)
    return AngleRead(_folded(limb.direction - plumb.direction), degrees(hypot(own, line)))


def true_from_seen(seen: float, off_plane: float) -> float:
    """The true elevation when the camera stands `off_plane` degrees from square.

    A limb raised by e in a plane turned by f from the picture shows tan(seen) = tan(e) cos(f), so
    e = atan2(sin(seen), cos(seen) cos(f)). Degrees; 0 <= seen <= 180, |off_plane| < 90. At 90
    the limb points at the camera and nothing is seen: UserError.
    """
    if not abs(off_plane) < 90:
        raise UserError("off_plane", off_plane, "degrees between -90 and 90")
    return degrees(atan2(sin(radians(seen)), cos(radians(seen)) * cos(radians(off_plane))))


def in_plane(read: AngleRead, off_plane: float) -> AngleRead:
    """The same reading with an unknown tilt of up to `off_plane` degrees carried along.

    Half the span of possible true angles is added to the error in quadrature.
    """
    span = abs(read.degrees - true_from_seen(read.degrees, off_plane))
    words = f"A camera up to {off_plane:g} degrees off square is allowed for."
    return AngleRead(read.degrees, hypot(read.sd, span), (words,))


def _arrow(name: str, tail: Point, head: Point) -> Arrow:
    gap = hypot(head.x - tail.x, head.y - tail.y)
    if gap < TOO_CLOSE * max(tail.sd, head.sd):
        raise UserError(
            f"point {name}", f"{gap:.0f} pixels from the other",
            f"at least {TOO_CLOSE * max(tail.sd, head.sd):.0f} pixels",
            "Three different points are needed: proximal, joint, distal.",
        )  # fmt: skip
    return Arrow(tail, head)


def _folded(radians_between: float) -> float:
    return degrees(acos(max(-1.0, min(1.0, cos(radians_between)))))
