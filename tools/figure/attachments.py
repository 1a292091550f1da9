"""Where each muscle starts and ends: origin and insertion as rows of points, (n, 3) each."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from tools.figure.mesh import Points
from tools.figure.sites import Sites, along_rib, resampled, spinous, sternal_edge, transverse


def spread(*points: Points, count: int) -> Points:
    """Points evenly along a line through those given."""
    return resampled(np.array(points), count)


def deltoid(at: Sites) -> tuple[Points, Points]:
    """From the outer third of the clavicle, round the acromion, along the scapular spine."""
    front, rim, back = (
        at.curve("clavicle lateral third", 10),
        at.curve("acromion rim", 12),
        at.curve("scapular spine", 16),
    )
    origin = np.concatenate([front, rim, back[1:12]])
    return origin, resampled(at.curve("deltoid tuberosity", 9), len(origin))


def trapezius(at: Sites) -> tuple[Points, Points]:
    """From the back of the head to T12; upper fibres to the clavicle, the rest to acromion and
    spine.
    """
    figure = at.posed.figure
    occiput = np.array([-0.012, spinous(figure, "C2")[1] + 0.012, 0.690])
    behind = np.array([0, 0.008, 0])
    neck = [occiput, *(spinous(figure, f"C{k}") + behind for k in (2, 4, 6))]
    middle = [spinous(figure, name) for name in ("C7", "T1", "T2", "T3")]
    lower = [spinous(figure, f"T{k}") for k in (4, 6, 8, 10, 12)]
    crest = at.curve("scapular spine", 24)
    origin = [spread(*neck, count=12), spread(*middle, count=10), spread(*lower, count=12)]
    rim = at.curve("acromion rim", 8)[2:]
    target = [
        at.curve("clavicle back lateral", 12),
        resampled(np.concatenate([rim, crest[:14]]), 10),
        resampled(crest[14:], 12),
    ]
    return np.concatenate(origin), np.concatenate(target)


def pectoralis(at: Sites) -> tuple[Points, Points]:
    """From the inner half of the clavicle, breastbone and ribs to the outer lip of the groove.

    Drawn without the twist of its tendon, whose lower fibres end highest.
    """
    edge = [sternal_edge(at.posed.figure, share) for share in (0.04, 0.3, 0.6, 0.9)]
    lower = sternal_edge(at.posed.figure, 1.0) + np.array([-0.05, 0.0, -0.008])
    origin = np.concatenate(
        [at.curve("clavicle medial half", 9)[::-1], spread(*edge, lower, count=15)]
    )
    return origin, at.curve("outer lip", len(origin))


def latissimus(at: Sites) -> tuple[Points, Points]:
    """From the lower spinous processes and the crest to the inner lip of the groove."""
    figure = at.posed.figure
    tips = [spinous(figure, name) for name in ("T7", "T9", "T11", "L1", "L3", "L5")]
    crest = spinous(figure, "L5") + np.array([-0.11, -0.03, -0.005])
    return spread(*tips, crest, count=16), resampled(at.curve("inner lip", 12), 16)


def teres_major(at: Sites) -> tuple[Points, Points]:
    """From the lower angle to the inner lip of the groove."""
    return at.curve("teres major angle", 6)[::-1], at.curve("inner lip", 6)[::-1]


def biceps(at: Sites) -> tuple[Points, Points]:
    """Long head from above the socket through the groove, short head from the coracoid process."""
    groove = at.landmark("groove below")
    tip = at.landmark("coracoid tip")
    origin = np.stack(
        [groove + (tip - groove) * share for share in (0.0, 0.03, 0.06, 0.85, 0.93, 1.0)]
    )
    low, inner = at.landmark("radial tuberosity"), at.landmark("bicipital aponeurosis")
    return origin, np.stack(
        [low + (inner - low) * share for share in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)]
    )


def triceps(at: Sites) -> tuple[Points, Points]:
    """Long head from below the socket, the others from the back of the shaft, to the olecranon."""
    names = ("infraglenoid", "infraglenoid", "triceps middle", "triceps side", "triceps side")
    shift = np.array([[0, 0, 0], [-0.003, 0.003, -0.004], [0, 0, 0], [0, 0, 0], [0, 0, -0.012]])
    origin = np.stack([at.landmark(name) for name in names]) + shift
    side = at.landmark("medial epicondyle") - at.landmark("lateral epicondyle")
    elbow = at.landmark("olecranon")
    return origin, np.stack([elbow + side * share for share in (0.16, 0.1, 0.0, -0.1, -0.14)])


def long_head(at: Sites) -> tuple[Points, Points]:
    """The tendon of the long head as far as the lower groove; passes over the ball."""
    return at.landmark("supraglenoid")[None].repeat(2, 0), at.landmark("groove below")[None].repeat(
        2, 0
    )


def between(
    origin: str, insertion: str, count: int, *, flip: bool = False
) -> Callable[[Sites], tuple[Points, Points]]:
    """From one curve of the bones to another."""

    def ends(at: Sites) -> tuple[Points, Points]:
        target = at.curve(insertion, count)
        return at.curve(origin, count), target[::-1] if flip else target

    return ends


def rhomboids(at: Sites) -> tuple[Points, Points]:
    """From the spinous processes C7 to T5 to the medial border."""
    tips = [spinous(at.posed.figure, name) for name in ("C7", "T1", "T2", "T3", "T4", "T5")]
    return spread(*tips, count=12), at.curve("medial border", 12)


def levator(at: Sites) -> tuple[Points, Points]:
    """From the upper four transverse processes to the upper angle."""
    tips = [transverse(at.posed.figure, f"C{k}") for k in (1, 2, 3, 4)]
    return spread(*tips, count=5), resampled(at.curve("medial border above", 10), 5)


def serratus(at: Sites) -> tuple[Points, Points]:
    """From the upper eight ribs round the chest to the front of the medial border."""
    ribs = np.stack([along_rib(at.posed.figure, k, 0.66 + 0.012 * k) for k in range(1, 9)])
    border = np.concatenate([at.curve("medial border above", 3)[1:], at.curve("medial border", 6)])
    return ribs, resampled(border, 8)


def pectoralis_minor(at: Sites) -> tuple[Points, Points]:
    """From ribs three to five to the coracoid process."""
    ribs = np.stack([along_rib(at.posed.figure, k, 0.93) for k in (3, 4, 5)])
    return spread(*ribs, count=7), at.landmark("coracoid tip")[None].repeat(7, 0)


def coracobrachialis(at: Sites) -> tuple[Points, Points]:
    """From the coracoid process to the inner side of the shaft."""
    return at.landmark("coracoid tip")[None].repeat(3, 0), at.landmark("middle of shaft inside")[
        None
    ].repeat(3, 0)
