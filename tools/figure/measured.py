"""What is measured on the drawn figure, to be held against published figures."""

from __future__ import annotations

import numpy as np

from tools.figure.body import Figure, Posed
from tools.figure.chain import Posture, frames
from tools.figure.mesh import Points
from tools.figure.parts import split
from tools.figure.raster import View, Window, picture
from tools.figure.sites import ON_BONE, snapped


def in_thorax(figure: Figure, posture: Posture, name: str) -> Points:
    """A landmark in the axes of the thorax, metres, life size."""
    bone, near = ON_BONE[name]
    return frames(posture)[bone].place(snapped(figure, bone, (near,)))[0]


def upward_rotation(figure: Figure, posture: Posture) -> float:
    """Upward rotation of the shoulder blade on the thorax, degrees.

    Blade axes from acromial angle, root of the spine and lower angle, turned in the order Y, X, Z:
    Wu G et al. J Biomech 2005;38:981-992.
    """
    angle, root, low = (
        in_thorax(figure, posture, n)
        for n in ("acromion back corner", "spine root", "inferior angle")
    )
    z = (angle - root) / np.linalg.norm(angle - root)
    x = np.cross(angle - low, root - low)
    x = x / np.linalg.norm(x) * np.sign(x[0])
    y = np.cross(z, x)
    # Of a matrix turned about Y, then X, then Z the element (2, 3) is minus the sine of the
    # second angle.
    return float(np.degrees(np.arcsin(np.array([x, y, z]).T[1, 2])))


def rhythm(figure: Figure, angles: Points, share: float = 1.0) -> float:
    """Glenohumeral elevation per degree of upward rotation, by least squares over elevations to
    the side.
    """
    turned = [upward_rotation(figure, Posture(float(angle), 0, 15, 12, share)) for angle in angles]
    slope = float(np.polyfit(angles, turned, 1)[0])
    return (1 - slope) / slope


def outside_outline(posed: Posed, view: View, dot: float = 0.002) -> float:
    """Share of the dots of the arm's bones that lie outside the outline of the skin."""
    window = Window(-0.9, -1.3, 0.9, 0.1, dot)
    skin = picture([posed.skin], view, window).part >= 0
    bones = picture(list(split(posed.figure, posed.bones).values()), view, window).part >= 0
    return float((bones & ~skin).sum() / bones.sum())
