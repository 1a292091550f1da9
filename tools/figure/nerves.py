"""Nerve areas of the skin, told apart in the pose in which the skin was modelled.

Dermatomes follow the key points of the International Standards for Neurological Classification of
Spinal Cord Injury (C4 over the acromioclavicular joint, C5 outer side of the elbow crease, C6
thumb,
C7 middle finger, C8 little finger, T1 inner side of the elbow crease, T2 top of the armpit;
memory).
Borders between them are our drawing: in life they overlap and differ from person to person.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.figure.body import BIND, Figure
from tools.figure.chain import frames
from tools.figure.mesh import Points

AREAS = ("C4", "C5", "C6", "C7", "C8", "T1", "T2")


@dataclass(frozen=True, slots=True)
class OnArm:
    """Where each vertex lies along the arm (0 shoulder, 1 elbow, 2 wrist) and round it (degrees
    from the thumb side).
    """

    along: Points
    round: Points
    across: Points
    arm: Points


def on_arm(figure: Figure, points: Points, weights: Points) -> OnArm:
    """Measured on the resting skin."""
    bind = frames(BIND)
    place = figure.fit.place
    head, elbow = (place(bind[name].origin[None])[0] for name in ("humerus", "forearm"))
    fore = points[weights[:, 4] > 0.9]
    tip = fore[np.linalg.norm(fore - elbow, axis=1).argmax()]
    wrist = elbow + (tip - elbow) * 0.585
    upper = (elbow - head) / np.linalg.norm(elbow - head)
    lower = (tip - elbow) / np.linalg.norm(tip - elbow)
    is_fore = weights[:, 4] > 0.5
    along = np.where(
        is_fore,
        1 + (points - elbow) @ lower / np.linalg.norm(wrist - elbow),
        (points - head) @ upper / np.linalg.norm(elbow - head),
    )
    outer = outward_of(upper, np.array([-0.6, 0.0, 1.0]))
    thumb = thumb_side(fore, elbow, lower, np.linalg.norm(wrist - elbow))
    away = np.where(is_fore[:, None], points - elbow, points - head)
    axis = np.where(is_fore[:, None], lower, upper)
    away = away - np.einsum("ij,ij->i", away, axis)[:, None] * axis
    zero = np.where(is_fore[:, None], thumb, outer)
    side = np.einsum("ij,ij->i", away, zero)
    size = np.maximum(np.linalg.norm(away, axis=1), 1e-9)
    return OnArm(
        along, np.degrees(np.arccos(np.clip(side / size, -1, 1))), side, weights[:, 3:5].sum(axis=1)
    )


def outward_of(axis: Points, near: Points) -> Points:
    """The direction nearest to `near` that is square to `axis`."""
    found = near - (near @ axis) * axis
    return found / np.linalg.norm(found)


def thumb_side(fore: Points, elbow: Points, axis: Points, wrist: float) -> Points:
    """From the axis of the forearm to the thumb: what stands farthest off it beside the palm."""
    share = (fore - elbow) @ axis / wrist
    palm = fore[(share > 1.05) & (share < 1.5)]
    off = palm - elbow - ((palm - elbow) @ axis)[:, None] * axis
    return outward_of(axis, off[np.linalg.norm(off, axis=1).argmax()])


def dermatomes(figure: Figure) -> NDArray[np.int64]:
    """For each vertex of the refined skin the number of its dermatome in AREAS, -1 for none."""
    mesh, weights = refined_skin(figure)
    at = on_arm(figure, mesh, weights)
    z = mesh[:, 2]
    label = np.full(len(mesh), -1)
    trunk = (at.arm < 0.5) & (weights[:, 5] < 0.2)
    label[trunk & (z > 0.478) & (z < 0.600)] = 0
    label[trunk & (z > 0.43) & (z <= 0.478)] = 6
    arm = at.arm >= 0.5
    inner = at.round > 100
    label[arm & ~inner & (at.along < 1.0)] = 1
    label[arm & ~inner & (at.along < 0.1)] = 0
    label[arm & inner & (at.along < 0.55)] = 6
    label[arm & inner & (at.along >= 0.55)] = 5
    fore = arm & (at.along >= 1.0)
    label[fore & (at.round <= 80)] = 2
    label[fore & (at.round > 80)] = 5
    label[fore & (at.along > 1.5) & (at.round > 80)] = 3
    label[fore & (at.along > 1.5) & (at.round > 105)] = 4
    hand = arm & (at.along > 2.0)
    label[hand & (at.across > 0.012)] = 2
    label[hand & (at.across <= 0.012) & (at.across > -0.012)] = 3
    label[hand & (at.across <= -0.012)] = 4
    return label


def axillary(figure: Figure) -> NDArray[np.bool_]:
    """Vertices of the refined skin over the outer deltoid, felt through the axillary nerve."""
    mesh, weights = refined_skin(figure)
    at = on_arm(figure, mesh, weights)
    found: NDArray[np.bool_] = (
        (at.arm > 0.5) & (at.along > 0.16) & (at.along < 0.5) & (at.round < 55)
    )
    return found


def refined_skin(figure: Figure) -> tuple[Points, Points]:
    """Points and shares of the refined resting skin; new vertices are the middles of edges."""
    mesh, shares = figure.fine
    return mesh.points, shares
