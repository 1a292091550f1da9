"""Landmarks and attachment curves, picked on the bones by ourselves.

Each is given near where it lies, in a bone's own axes (metres: forwards, up, right), and then
snapped
to the surface of whatever bone there is, so that exchanged bones need only small corrections here.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.spatial import cKDTree

from tools.figure.body import Figure, Posed
from tools.figure.mesh import Points

Near = tuple[float, float, float]

ON_BONE: dict[str, tuple[str, Near]] = {
    "sternoclavicular": ("clavicle", (0.004, 0.004, 0.004)),
    "clavicle medial": ("clavicle", (0.004, 0.008, 0.042)),
    "clavicle lateral": ("clavicle", (-0.028, 0.025, 0.098)),
    "clavicle middle": ("clavicle", (-0.007, 0.0125, 0.061)),
    "acromioclavicular": ("scapula", (-0.004, 0.003, -0.002)),
    "acromion": ("scapula", (-0.0175, -0.0003, 0.010)),
    "acromion back corner": ("scapula", (-0.045, -0.005, 0.003)),
    "coracoid": ("scapula", (0.0137, -0.0387, -0.0298)),
    "superior angle": ("scapula", (-0.0554, 0.0155, -0.0863)),
    "inferior angle": ("scapula", (-0.1055, -0.1251, -0.0753)),
    "medial border": ("scapula", (-0.0935, -0.048, -0.104)),
    "spine middle": ("scapula", (-0.067, -0.001, -0.0435)),
    "spine root": ("scapula", (-0.082, -0.011, -0.0857)),
    "greater tuberosity": ("humerus", (0.002, 0.004, 0.0257)),
    "lesser tuberosity": ("humerus", (0.0245, 0.003, 0.0)),
    "groove": ("humerus", (0.0165, -0.003, 0.0095)),
    "shaft": ("humerus", (0.008, -0.16, 0.002)),
    "lateral epicondyle": ("humerus", (0.0, -0.283, 0.019)),
    "medial epicondyle": ("humerus", (-0.002, -0.285, -0.0435)),
}
"""Landmarks on a bone's surface."""

CURVES: dict[str, tuple[str, tuple[Near, ...]]] = {
    "scapular spine": (
        "scapula",
        (
            (-0.0446, -0.0015, 0.0026),
            (-0.050, 0.0015, -0.0142),
            (-0.0551, 0.0016, -0.024),
            (-0.0668, -0.0014, -0.0435),
            (-0.0746, -0.0041, -0.0543),
            (-0.0799, -0.0114, -0.0613),
            (-0.0815, -0.0121, -0.0782),
            (-0.082, -0.0108, -0.0857),
        ),
    ),
    "acromion rim": (
        "scapula",
        (
            (0.0008, -0.0041, 0.001),
            (-0.003, -0.0026, 0.006),
            (-0.0175, -0.0003, 0.010),
            (-0.0338, -0.0007, 0.0091),
            (-0.0452, -0.0049, 0.0031),
        ),
    ),
    "medial border above": (
        "scapula",
        ((-0.0554, 0.0155, -0.0863), (-0.0689, 0.0063, -0.0937), (-0.080, -0.010, -0.099)),
    ),
    "medial border": (
        "scapula",
        (
            (-0.0836, -0.0168, -0.1004),
            (-0.0894, -0.0318, -0.1028),
            (-0.0918, -0.0402, -0.1026),
            (-0.0952, -0.0563, -0.1058),
            (-0.1011, -0.0744, -0.1031),
            (-0.1042, -0.0931, -0.0988),
            (-0.1041, -0.1132, -0.0928),
        ),
    ),
    "lateral border": (
        "scapula",
        (
            (-0.0372, -0.0476, -0.0093),
            (-0.059, -0.0578, -0.0253),
            (-0.0798, -0.0675, -0.035),
            (-0.096, -0.0853, -0.0503),
            (-0.0978, -0.106, -0.0586),
            (-0.0996, -0.1149, -0.0622),
        ),
    ),
    "clavicle lateral third": (
        "clavicle",
        (
            (-0.0129, 0.0099, 0.0786),
            (-0.0187, 0.0133, 0.0899),
            (-0.0165, 0.0150, 0.102),
            (-0.0143, 0.0156, 0.1128),
        ),
    ),
    "clavicle back lateral": (
        "clavicle",
        (
            (-0.022, 0.018, 0.078),
            (-0.034, 0.022, 0.096),
            (-0.034, 0.024, 0.112),
            (-0.028, 0.022, 0.120),
        ),
    ),
    "clavicle medial half": (
        "clavicle",
        (
            (0.0099, -0.0046, 0.0085),
            (0.0090, -0.0036, 0.022),
            (0.0084, -0.0027, 0.0341),
            (0.0038, -0.0025, 0.0497),
            (-0.002, 0.002, 0.060),
        ),
    ),
    "groove": (
        "humerus",
        (
            (0.014, 0.014, 0.0085),
            (0.0165, 0.004, 0.0095),
            (0.0165, -0.006, 0.0095),
            (0.0145, -0.018, 0.007),
            (0.0125, -0.03, 0.005),
        ),
    ),
    "deltoid tuberosity": (
        "humerus",
        ((0.009, -0.118, 0.003), (0.006, -0.126, 0.0055), (0.002, -0.134, 0.0060)),
    ),
    "outer lip": (
        "humerus",
        ((0.0105, -0.034, 0.0055), (0.0105, -0.05, 0.004), (0.0105, -0.068, 0.002)),
    ),
    "inner lip": (
        "humerus",
        ((0.009, -0.034, -0.004), (0.008, -0.048, -0.005), (0.007, -0.062, -0.006)),
    ),
    "upper facet": (
        "humerus",
        ((0.011, 0.016, 0.019), (0.006, 0.018, 0.020), (0.001, 0.017, 0.021)),
    ),
    "middle facet": (
        "humerus",
        ((-0.003, 0.014, 0.023), (-0.008, 0.011, 0.0235), (-0.013, 0.006, 0.022)),
    ),
    "lower facet": (
        "humerus",
        ((-0.015, 0.000, 0.020), (-0.016, -0.006, 0.017), (-0.015, -0.012, 0.014)),
    ),
    "lesser tuberosity": (
        "humerus",
        ((0.020, 0.013, -0.004), (0.0235, 0.004, -0.001), (0.019, -0.009, 0.0)),
    ),
    "supraspinous fossa": (
        "scapula",
        (
            (-0.064, 0.002, -0.090),
            (-0.058, 0.004, -0.080),
            (-0.050, -0.002, -0.070),
            (-0.047, -0.010, -0.058),
            (-0.056, -0.010, -0.066),
            (-0.064, -0.008, -0.078),
        ),
    ),
    "infraspinous fossa": (
        "scapula",
        (
            (-0.084, -0.017, -0.092),
            (-0.090, -0.032, -0.098),
            (-0.094, -0.046, -0.099),
            (-0.098, -0.062, -0.096),
            (-0.102, -0.078, -0.090),
            (-0.102, -0.092, -0.082),
        ),
    ),
    "teres minor border": (
        "scapula",
        ((-0.068, -0.060, -0.030), (-0.082, -0.070, -0.038), (-0.094, -0.084, -0.048)),
    ),
    "teres major angle": (
        "scapula",
        ((-0.099, -0.094, -0.058), (-0.103, -0.108, -0.066), (-0.106, -0.120, -0.075)),
    ),
    "subscapular fossa": (
        "scapula",
        (
            (-0.058, 0.004, -0.088),
            (-0.074, -0.012, -0.097),
            (-0.084, -0.034, -0.099),
            (-0.090, -0.055, -0.098),
            (-0.095, -0.076, -0.094),
            (-0.098, -0.095, -0.084),
            (-0.092, -0.088, -0.056),
        ),
    ),
}
"""Lines along which muscles are attached, in order."""

IN_BONE: dict[str, tuple[str, Near]] = {
    "joint centre": ("humerus", (0.0, 0.0, 0.0)),
    "joint line front": ("scapula", (-0.004, -0.036, -0.018)),
    "joint line back": ("scapula", (-0.046, -0.040, -0.014)),
    "supraglenoid": ("scapula", (-0.024, -0.022, -0.013)),
    "infraglenoid": ("scapula", (-0.036, -0.052, -0.013)),
    "coracoid tip": ("scapula", (0.0120, -0.0400, -0.0285)),
    "groove below": ("humerus", (0.0125, -0.045, 0.001)),
    "olecranon": ("forearm", (-0.022, 0.004, 0.006)),
    "radial tuberosity": ("forearm", (0.010, -0.045, 0.018)),
    "bicipital aponeurosis": ("forearm", (0.016, -0.040, -0.004)),
    "triceps side": ("humerus", (-0.010, -0.075, 0.006)),
    "triceps middle": ("humerus", (-0.011, -0.150, -0.004)),
    "middle of shaft inside": ("humerus", (0.001, -0.135, -0.0115)),
}
"""Places that are used as given, not snapped to the surface."""


@dataclass(frozen=True)
class Sites:
    """Where everything is in one posture, in the body frame."""

    posed: Posed

    def landmark(self, name: str) -> Points:
        """A point, (3,)."""
        if name in IN_BONE:
            bone, near = IN_BONE[name]
            return self.posed.place(bone, np.array(near))[0]
        bone, near = ON_BONE[name]
        return self.posed.place(bone, snapped(self.posed.figure, bone, (near,)))[0]

    def curve(self, name: str, count: int) -> Points:
        """Points evenly along a curve, (count, 3)."""
        bone, near = CURVES[name]
        return resampled(self.posed.place(bone, snapped(self.posed.figure, bone, near)), count)


@lru_cache(maxsize=512)
def snapped(figure: Figure, bone: str, near: tuple[Near, ...]) -> Points:
    """The bone's own points nearest to those given, in its axes."""
    points = figure.smooth[bone].points
    return points[cKDTree(points).query(np.array(near))[1]]


def resampled(line: Points, count: int) -> Points:
    """The same line with `count` points at equal distances."""
    steps = np.sqrt((np.diff(line, axis=0) ** 2).sum(axis=1))
    along = np.concatenate([[0], np.cumsum(np.maximum(steps, 1e-9))])
    wanted = np.linspace(0, along[-1], count)
    return np.stack([np.interp(wanted, along, line[:, k]) for k in range(3)], axis=1)


@lru_cache(maxsize=64)
def spinous(figure: Figure, name: str) -> Points:
    """The tip of a spinous process: the hindmost point of the vertebra near the midline."""
    points = figure.trunk[name].points
    middle = points[np.abs(points[:, 0]) < 0.008]
    found: Points = middle[middle[:, 1].argmax()] * [0, 1, 1]
    return found


@lru_cache(maxsize=16)
def transverse(figure: Figure, name: str) -> Points:
    """The tip of the right transverse process: the point farthest to the right."""
    points = figure.trunk[name].points
    found: Points = points[points[:, 0].argmin()]
    return found


@lru_cache(maxsize=64)
def along_rib(figure: Figure, number: int, share: float) -> Points:
    """A point on the outer face of a right rib; `share` 0 behind at the spine, 1 in front at the
    cartilage.
    """
    points = figure.trunk[f"rib {number}"].points
    angle = np.arctan2(-points[:, 0], points[:, 1] - np.median(points[:, 1]))
    low, high = np.quantile(angle, [0.01, 0.99])
    near = np.abs(angle - (low + share * (high - low))) < 0.08
    chosen = points[near]
    outer = np.hypot(chosen[:, 0], chosen[:, 1] - np.median(points[:, 1]))
    found: Points = chosen[outer.argmax()]
    return found


@lru_cache(maxsize=64)
def sternal_edge(figure: Figure, share: float) -> Points:
    """On the front of the breastbone, 8 mm right of the midline; `share` 0 at the top, 1 at the
    lower end.
    """
    points = figure.trunk["sternum"].points
    near = points[np.abs(points[:, 0] + 0.008) < 0.006]
    top = near[:, 2].max()
    level = top - share * 0.15
    row = near[np.abs(near[:, 2] - level) < 0.008]
    found: Points = row[row[:, 1].argmin()]
    return found
