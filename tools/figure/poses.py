"""The postures of the atlas, by movement and by what is measured."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tools.figure.chain import Posture

CLEAR_OF_TRUNK = 4.0
"""Degrees the hanging arm stands off, so that it does not lie in the trunk."""
HITCHING = 1.8
"""How much more than usual the blade does in the plates of a hitching shoulder."""
BEHIND_BACK: dict[str, tuple[float, float, float, float]] = {
    "thigh": (42.9, -44.4, 61.5, 51.2),
    "buttock": (40.4, -54.4, 71.3, 57.6),
    "L5": (47.3, -60.6, 69.2, 81.2),
    "L3": (48.1, -56.4, 72.8, 90.4),
    "T12": (49.5, -51.6, 77.7, 103.6),
    "T10": (50.3, -49.9, 82.7, 112.6),
    "T7": (52.8, -52.9, 92.2, 122.7),
    "T5": (54.2, -57.8, 100.2, 127.6),
}
"""Elevation, plane, rotation and elbow that bring the thumb to a level without entering the trunk:
found by least squares on the thumb's distance from the place, with a penalty for skin in skin."""


@dataclass(frozen=True, slots=True)
class Pose:
    """One place of the atlas: `at` degrees of the movement, or a level; `hitching` the blade's
    share raised.
    """

    movement: str
    at: float | str
    posture: Posture
    hitching: bool = False

    @property
    def name(self) -> str:
        """Unique in the atlas."""
        return (
            f"{self.movement} {self.at:g}"
            if isinstance(self.at, float)
            else f"{self.movement} {self.at}"
        )


def lifted(degrees: float, side: float, share: float = 1.0) -> Posture:
    """Forwards (`side` 1) or backwards (-1), a little clear of the trunk."""
    elevation = float(np.hypot(degrees, CLEAR_OF_TRUNK))
    plane = float(np.degrees(np.arctan2(degrees, CLEAR_OF_TRUNK)))
    return Posture(elevation, side * plane, 15 - degrees / 6 if side > 0 else 15, 12, share)


def sideways(degrees: float, share: float = 1.0) -> Posture:
    """To the side; beyond shoulder height the arm turns out, or the tuberosity would meet the
    acromion.
    """
    turned_out = 15 - 85 * max(0.0, (degrees - 45) / 135)
    return Posture(max(degrees, CLEAR_OF_TRUNK), 0, turned_out, 12, share)


def poses() -> Iterator[Pose]:
    """Every posture, in the order of the atlas."""
    yield Pose("rest", 0.0, Posture())
    for degrees in range(15, 181, 15):
        yield Pose("flexion", float(degrees), lifted(degrees, 1))
    for degrees in range(15, 181, 15):
        yield Pose("abduction", float(degrees), sideways(degrees))
    for degrees in range(15, 61, 15):
        yield Pose("extension", float(degrees), lifted(degrees, -1))
    for degrees in range(-60, 91, 15):
        yield Pose("rotation at side", float(degrees), Posture(6, 0, -degrees, 90))
    for degrees in range(-90, 91, 15):
        yield Pose("rotation at 90", float(degrees), Posture(90, 0, -degrees, 90))
    for level, (elevation, plane, rotation, elbow) in BEHIND_BACK.items():
        yield Pose("hand behind back", level, Posture(elevation, plane, rotation, elbow))
    for degrees in range(30, 106, 15):
        yield Pose("flexion, hitching", float(degrees), lifted(degrees, 1, HITCHING), True)
    for degrees in range(30, 106, 15):
        yield Pose("abduction, hitching", float(degrees), sideways(degrees, HITCHING), True)


ARMPIT = Posture(130, 0, -75, 75)
"""Arm raised, elbow bent, hand behind the head: the posture in which the armpit is felt."""
