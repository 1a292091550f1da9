"""From a posture to the place of every bone: rotations about fixed axes, one after the other.

Axes and offsets are those of the upper limb model of Holzbaur KRS, Murray WM, Delp SL, Ann Biomed
Eng 2005;33:829-840, in a bone's own axes (x forwards, y up, z to the right); the linear rhythm is
the one that model takes from de Groot JH, Brand R, Clin Biomech 2001;16:735-743.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.figure.mesh import Points

Matrix = NDArray[np.float64]

STERNOCLAVICULAR = ((0.0153, 0.989299, -0.1451), (-0.994473, 0.0, -0.104997))
"""Axes of protraction and of elevation of the clavicle."""
ACROMIOCLAVICULAR = (
    (0.157095, 0.947269, -0.279291),
    (-0.754084, 0.297594, 0.585487),
    (0.6377, 0.1186, 0.7611),
)
"""Axes of the blade on the clavicle: about the vertical, upward turn, tilt."""
PLANE = (0.00479995, 0.999089, 0.0423995)
"""Axis of the plane of elevation, and of rotation of the humerus about its shaft."""
ELEVATION = (-0.998261, 0.00229991, 0.0588977)
ELBOW = (0.0494004, 0.0366003, 0.998108)
CLAVICLE_IN_THORAX = (0.000335, 0.01193, 0.025465)
SCAPULA_IN_CLAVICLE = (-0.01433, 0.02007, 0.1355)
HUMERUS_IN_SCAPULA = (-0.00955, -0.034, 0.009)
ULNA_IN_HUMERUS = (0.0061, -0.2904, -0.0123)
RHYTHM = {
    "protraction": -0.242,
    "clavicle": 0.1025,
    "vertical": -0.049,
    "upward": 0.396,
    "tilt": 0.178,
}
"""Radians of each joint of the girdle per radian of elevation."""


@dataclass(frozen=True, slots=True)
class Posture:
    """Of the right arm, in degrees.

    `elevation` of the humerus from the trunk; `plane` 0 to the side, 90 forwards, -90 backwards;
    `rotation` inwards positive; `elbow` bent; `share` how much the shoulder blade does of what
    it usually does at this elevation (1 usual, more when it hitches).
    """

    elevation: float = 4.0
    plane: float = 0.0
    rotation: float = 15.0
    elbow: float = 12.0
    share: float = 1.0


@dataclass(frozen=True, slots=True)
class Frame:
    """A bone's axes in the thorax: `turn` (3, 3) and `origin` (3,), metres, unscaled."""

    turn: Matrix
    origin: Points

    def place(self, points: Points) -> Points:
        """Points of the bone in the axes of the thorax."""
        return points @ self.turn.T + self.origin


def turned(axis: tuple[float, float, float], radians: float) -> Matrix:
    """The rotation about an axis (Rodrigues)."""
    x, y, z = np.asarray(axis) / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    turn: Matrix = np.eye(3) + np.sin(radians) * cross + (1 - np.cos(radians)) * cross @ cross
    return turn


def coupling(posture: Posture) -> float:
    """Radians of elevation as the girdle feels them.

    The published rhythm knows elevation alone; drawing the arm back hardly moves the blade, so the
    coupling falls from all at the side and in front to a tenth straight back (our judgement).
    """
    backwards = max(0.0, np.sin(np.radians(-posture.plane)))
    return float(np.radians(posture.elevation) * (1 - 0.9 * backwards) * posture.share)


def girdle_turns(posture: Posture) -> tuple[Matrix, Matrix]:
    """Rotation of the clavicle and of the shoulder blade, each in the axes of the thorax."""
    felt = coupling(posture)
    back, up = STERNOCLAVICULAR
    vertical, upward, tilt = ACROMIOCLAVICULAR
    clavicle = turned(back, RHYTHM["protraction"] * felt) @ turned(up, RHYTHM["clavicle"] * felt)
    blade = turned(vertical, RHYTHM["vertical"] * felt) @ turned(upward, RHYTHM["upward"] * felt)
    return clavicle, blade @ turned(tilt, RHYTHM["tilt"] * felt)


def arm_turns(posture: Posture) -> tuple[Matrix, Matrix]:
    """Rotation of humerus and forearm, each in the axes of the thorax."""
    plane, lift = np.radians(posture.plane), np.radians(posture.elevation)
    humerus = turned(PLANE, plane) @ turned(ELEVATION, lift) @ turned(PLANE, -plane)
    humerus = humerus @ turned(PLANE, np.radians(posture.rotation))
    return humerus, humerus @ turned(ELBOW, np.radians(posture.elbow))


def frames(posture: Posture) -> dict[str, Frame]:
    """Place of clavicle, scapula, humerus and forearm in the axes of the thorax."""
    clavicle, scapula = girdle_turns(posture)
    humerus, forearm = arm_turns(posture)
    at_clavicle = np.array(CLAVICLE_IN_THORAX)
    at_scapula = at_clavicle + clavicle @ SCAPULA_IN_CLAVICLE
    at_humerus = at_scapula + scapula @ HUMERUS_IN_SCAPULA
    at_elbow = at_humerus + humerus @ ULNA_IN_HUMERUS
    return {
        "clavicle": Frame(clavicle, at_clavicle),
        "scapula": Frame(scapula, at_scapula),
        "humerus": Frame(humerus, at_humerus),
        "forearm": Frame(forearm, at_elbow),
    }
