"""Body-fixed rotations Y-X-Y and Y-X-Z: three angles from a matrix and back, gimbal cases said."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from sidewise.errors import UserError
from sidewise.ground.arrays import Array

GIMBAL = np.sin(np.radians(1.0))
"""Within 1 degree of the pole the outer two turns cannot be told apart: landmark error, a few
degrees, would be blown up sixtyfold (our judgement)."""


@dataclass(frozen=True, slots=True)
class ElevationAngles:
    """Y-X-Y: plane of elevation, elevation (negative) and axial rotation, in degrees.

    At the poles plane and axial are None and only their sum (arm at the side) or difference
    (straight up) is known: it is in `twist`.
    """

    plane: float | None
    elevation: float
    axial: float | None
    twist: float
    gimbal: bool

    @property
    def shown_elevation(self) -> float:
        """Elevation as clinicians say it: positive."""
        return -self.elevation

    @property
    def caution(self) -> str:
        """What cannot be told at the poles, "" elsewhere."""
        if not self.gimbal:
            return ""
        which = "sum" if self.elevation > -90 else "difference"
        return (
            "Plane of elevation and axial rotation cannot be told apart here (the pole of the "
            f"Y-X-Y order): only their {which} is given."
        )


@dataclass(frozen=True, slots=True)
class BladeAngles:
    """Y-X-Z in degrees: about Y (protraction +), X (upward rotation -), Z (posterior tilt +).

    With X turned by 90 degrees `z` is None and `y` holds the sum or difference of both.
    """

    y: float
    x: float
    z: float | None
    gimbal: bool

    @property
    def upward_rotation(self) -> float:
        """Upward (lateral) rotation as a positive number."""
        return -self.x

    @property
    def caution(self) -> str:
        """What cannot be told where the middle turn is 90 degrees, "" elsewhere."""
        return (
            "First and third turn cannot be told apart here (middle turn 90)."
            if self.gimbal
            else ""
        )


def rotation_y(angle: float) -> Array:
    """Turn about Y by `angle` degrees: sends Z to (sin, 0, cos)."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])


def rotation_x(angle: float) -> Array:
    """Turn about X by `angle` degrees: sends Y to (0, cos, sin)."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])


def rotation_z(angle: float) -> Array:
    """Turn about Z by `angle` degrees: sends X to (cos, sin, 0)."""
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def compose_yxy(plane: float, elevation: float, axial: float) -> Array:
    """Ry(plane) Rx(elevation) Ry(axial), degrees, each about the axes already turned."""
    return rotation_y(plane) @ rotation_x(elevation) @ rotation_y(axial)


def compose_yxz(y: float, x: float, z: float) -> Array:
    """Ry(y) Rx(x) Rz(z), degrees, each about the axes already turned."""
    return rotation_y(y) @ rotation_x(x) @ rotation_z(z)


def decompose_yxy(matrix: ArrayLike) -> ElevationAngles:
    """Plane, elevation (-180 to 0) and axial rotation of R = Ry(g1) Rx(b) Ry(g2).

    b = -acos(R11); g1 = atan2(R01 / sin b, R21 / sin b); g2 = atan2(R10 / sin b, -R12 / sin b).
    Where |sin b| is under sin 1 degree only g1 + g2 (b near 0) or g1 - g2 (b near -180) is
    known. Columns of R are the distal axes in the proximal frame. UserError if R is no rotation.

    Wu G et al., J Biomech 2005; 38:981-992 (thoracohumeral and glenohumeral order).
    """
    r = checked_rotation(matrix)
    b = -np.arctan2(np.hypot(r[0, 1], r[2, 1]), r[1, 1])
    if abs(np.sin(b)) < GIMBAL:
        twist = np.arctan2(r[0, 2], r[0, 0]) if r[1, 1] > 0 else np.arctan2(-r[0, 2], r[0, 0])
        return ElevationAngles(None, _deg(b), None, _deg(twist), True)
    g1 = _deg(np.arctan2(-r[0, 1], -r[2, 1]))
    g2 = _deg(np.arctan2(-r[1, 0], r[1, 2]))
    return ElevationAngles(g1, _deg(b), g2, wrap_degrees(g1 + g2), False)


def decompose_yxz(matrix: ArrayLike) -> BladeAngles:
    """The three turns of R = Ry(y) Rx(x) Rz(z), x from -90 to 90 degrees.

    x = asin(-R12); y = atan2(R02, R22); z = atan2(R10, R11). Within 1 degree of x = +-90 only
    the sum or difference of y and z is known. UserError if R is no rotation.

    Wu G et al., J Biomech 2005; 38:981-992 (scapulothoracic order).
    """
    r = checked_rotation(matrix)
    cosine = np.hypot(r[0, 2], r[2, 2])
    x = np.arctan2(-r[1, 2], cosine)
    if cosine < GIMBAL:
        return BladeAngles(_deg(np.arctan2(-r[2, 0], r[0, 0])), _deg(x), None, True)
    return BladeAngles(
        _deg(np.arctan2(r[0, 2], r[2, 2])), _deg(x), _deg(np.arctan2(r[1, 0], r[1, 1])), False
    )


def checked_rotation(matrix: ArrayLike) -> Array:
    """The matrix, if it is a rotation (3 x 3, orthonormal to 1e-6, determinant +1)."""
    r = np.asarray(matrix, float)
    if r.shape != (3, 3) or not np.allclose(r.T @ r, np.eye(3), atol=1e-6):
        raise UserError("rotation", f"an array of shape {r.shape}", "an orthonormal 3 x 3 matrix")
    if np.linalg.det(r) < 0:
        raise UserError("rotation", "determinant -1", "a rotation, not a reflection",
                        "Mirror the landmarks of a left side, not the matrix.")  # fmt: skip
    return r


def wrap_degrees(angle: float) -> float:
    """The same direction between -180 (excluded) and 180 degrees."""
    return 180.0 - (180.0 - angle) % 360.0


def _deg(radians: float) -> float:
    # Adding 0.0 turns -0.0 into 0.0, which would otherwise be printed.
    return float(np.degrees(radians)) + 0.0
