"""The muscles that are drawn, and how: layer, attachments, thickness, and what keeps them in place.

Bellies are thickest in the middle (a choice of drawing; nothing here is a measured size).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tools.figure import attachments
from tools.figure.mesh import Points
from tools.figure.sites import Sites

OUTWARDS = 1.0
"""How strongly fibres of the deltoid are kept on the outer side of the joint."""


@dataclass(frozen=True, slots=True)
class Muscle:
    """How one muscle is drawn.

    `ends` answers origin and insertion, (n, 3) each.
    `belly` and `tip` are half thicknesses (metres).
    `under`: depth below the skin the fibres are brought to (metres), None for deep muscles.
    `facing`: the side whose skin that is, a direction for each fibre.
    `skin`: of `trunk`, `shoulder` or `arm` only.
    `until`: the share of the way over which fibres lie under the skin.
    `head`: how far from the centre of the humeral head they stay (metres, 0 for no matter).
    `plate`: metres off the back of the shoulder blade (front: negative).
    `thorax`: whether they are kept outside the ribs.
    `unseen`: the views in which the muscle lies behind everything.
    """

    name: str
    layer: str
    ends: Callable[[Sites], tuple[Points, Points]]
    belly: float
    tip: float
    under: float | None = None
    head: float = 0.0
    thorax: bool = False
    facing: Callable[[Sites, Points], Points] | None = None
    until: float = 1.0
    plate: float = 0.0
    skin: str = "any"
    unseen: tuple[str, ...] = ()


def trunk_side(x: float, y: float, z: float) -> Callable[[Sites, Points], Points]:
    """A direction of the trunk, the same for every fibre."""
    return lambda _, fibres: np.array([[x, y, z]]).repeat(len(fibres), 0)


def off_joint(at: Sites, fibres: Points) -> Points:
    """Away from the joint, between where each fibre starts and where it ends, and outwards.

    Outwards is where the greater tuberosity is: the muscle covers it in every posture, also when
    origin and insertion of a fibre lie on opposite sides of the joint.
    """
    centre = at.landmark("joint centre")
    away = fibres[:, [0, -1]] - centre
    away /= np.linalg.norm(away, axis=2, keepdims=True)
    outwards = at.landmark("greater tuberosity") - centre
    found: Points = away.sum(axis=1) + OUTWARDS * outwards / np.linalg.norm(outwards)
    return found


def of_arm(forwards: float) -> Callable[[Sites, Points], Points]:
    """The front (1) or the back (-1) of the upper arm, square to shaft and elbow."""

    def direction(at: Sites, fibres: Points) -> Points:
        outer, inner, centre = (
            at.landmark(n) for n in ("lateral epicondyle", "medial epicondyle", "joint centre")
        )
        found: Points = np.cross(outer - inner, (outer + inner) / 2 - centre)
        return (forwards * found / np.linalg.norm(found))[None].repeat(len(fibres), 0)

    return direction


MUSCLES: tuple[Muscle, ...] = (
    Muscle(
        "trapezius",
        "superficial",
        attachments.trapezius,
        0.004,
        0.002,
        under=0.007,
        skin="trunk",
        facing=trunk_side(-0.25, 1, 0.5),
    ),
    Muscle(
        "deltoid",
        "superficial",
        attachments.deltoid,
        0.006,
        0.002,
        under=0.009,
        head=0.036,
        skin="shoulder",
        facing=off_joint,
    ),
    Muscle(
        "pectoralis major",
        "superficial",
        attachments.pectoralis,
        0.005,
        0.002,
        under=0.011,
        skin="trunk",
        facing=trunk_side(-0.2, -1, 0.1),
    ),
    Muscle(
        "latissimus dorsi",
        "superficial",
        attachments.latissimus,
        0.005,
        0.002,
        under=0.014,
        until=0.62,
        skin="trunk",
        facing=trunk_side(-0.6, 1, 0),
    ),
    Muscle("teres major", "superficial", attachments.teres_major, 0.010, 0.004),
    Muscle(
        "biceps",
        "superficial",
        attachments.biceps,
        0.013,
        0.003,
        under=0.018,
        skin="arm",
        facing=of_arm(1),
    ),
    Muscle(
        "triceps",
        "superficial",
        attachments.triceps,
        0.012,
        0.003,
        under=0.016,
        skin="arm",
        facing=of_arm(-1),
    ),
    Muscle(
        "supraspinatus",
        "deep",
        attachments.between("supraspinous fossa", "upper facet", 8),
        0.008,
        0.003,
        head=0.027,
        plate=0.003,
    ),
    Muscle(
        "infraspinatus",
        "deep",
        attachments.between("infraspinous fossa", "middle facet", 12),
        0.006,
        0.003,
        head=0.027,
        plate=0.008,
    ),
    Muscle(
        "teres minor",
        "deep",
        attachments.between("teres minor border", "lower facet", 5),
        0.006,
        0.003,
        head=0.026,
        plate=0.006,
    ),
    Muscle(
        "subscapularis",
        "deep",
        attachments.between("subscapular fossa", "lesser tuberosity", 12),
        0.005,
        0.003,
        head=0.027,
        plate=-0.006,
    ),
    Muscle("long head of biceps", "deep", attachments.long_head, 0.002, 0.002, head=0.0265),
    Muscle(
        "rhomboids",
        "deep",
        attachments.rhomboids,
        0.004,
        0.002,
        under=0.020,
        skin="trunk",
        unseen=("front",),
        facing=trunk_side(0, 1, 0),
    ),
    Muscle("levator scapulae", "deep", attachments.levator, 0.007, 0.003),
    Muscle("serratus anterior", "deep", attachments.serratus, 0.005, 0.003, thorax=True),
    Muscle("pectoralis minor", "deep", attachments.pectoralis_minor, 0.005, 0.002),
    Muscle("coracobrachialis", "deep", attachments.coracobrachialis, 0.009, 0.003),
)
"""In the order in which they are listed to the reader."""
