"""Named places to press: the outline divided among them, each dot to the place it is nearest to.

Every place has seeds (points of the body) and a reach in metres; a dot belongs to the place whose
distance is the smallest share of its reach, and to none beyond it. Places therefore never overlap.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from tools.figure.masks import smooth_mask
from tools.figure.mesh import Points
from tools.figure.plate import Plate
from tools.figure.sites import Sites, along_rib, spinous, sternal_edge
from tools.figure.trace import area, boundary, polyline, simplified

Seeds = Callable[[Plate], Points]


@dataclass(frozen=True, slots=True)
class Region:
    """A place: its `name`, where it is `seen`, its `seeds` and its `reach` (metres); `middle` on
    the midline.
    """

    name: str
    seen: tuple[str, ...]
    reach: float
    seeds: Seeds
    middle: bool = False


def at(*names: str) -> Seeds:
    """Landmarks."""
    return lambda plate: np.stack([Sites(plate.posed).landmark(name) for name in names])


def shifted(name: str, left: float, back: float, up: float) -> Seeds:
    """A place off a landmark, metres."""
    return lambda plate: Sites(plate.posed).landmark(name)[None] + [left, back, up]


def between(first: str, second: str, share: float = 0.5) -> Seeds:
    """A place on the way from one landmark to another."""

    def seeds(plate: Plate) -> Points:
        a, b = (Sites(plate.posed).landmark(name) for name in (first, second))
        return (a + share * (b - a))[None]

    return seeds


def along(curve: str, low: float = 0.0, high: float = 1.0) -> Seeds:
    """Part of a curve."""

    def seeds(plate: Plate) -> Points:
        line = Sites(plate.posed).curve(curve, 21)
        return line[round(low * 20) : round(high * 20) + 1]

    return seeds


def collar(low: float, high: float) -> Seeds:
    """Part of the clavicle's length, along the middle of the bone."""

    def seeds(plate: Plate) -> Points:
        points = plate.figure.smooth["clavicle"].points
        reach = points[:, 2].max()
        rows = [
            points[np.abs(points[:, 2] - share * reach) < 0.004].mean(axis=0)
            for share in np.linspace(low, high, 9)
        ]
        return plate.posed.place("clavicle", np.array(rows))

    return seeds


def belly(muscle: str, low: float, high: float, first: float = 0.0, last: float = 1.0) -> Seeds:
    """The middle of a muscle: `low` to `high` along its fibres, from the `first` to the `last` of
    them.
    """

    def seeds(plate: Plate) -> Points:
        fibres = next(m for m in plate.drawn.muscles if m.muscle.name == muscle).fibres
        count, steps = fibres.shape[:2]
        chosen = fibres[round(first * (count - 1)) : round(last * (count - 1)) + 1]
        return chosen[:, round(low * (steps - 1)) : round(high * (steps - 1)) + 1 : 2].reshape(
            -1, 3
        )

    return seeds


def shaft(low: float, high: float) -> Seeds:
    """Part of the humerus' length, in the middle of the bone."""
    return lambda plate: plate.posed.place(
        "humerus", np.array([[0.002, -0.29 * s, 0] for s in np.linspace(low, high, 9)])
    )


def breastbone(plate: Plate) -> Points:
    """Down the middle of the breastbone."""
    return np.stack([sternal_edge(plate.figure, share) for share in np.linspace(0.12, 0.75, 8)]) * [
        0,
        1,
        1,
    ]


def neck(plate: Plate) -> Points:
    """Spinous processes of the neck."""
    return np.stack([spinous(plate.figure, f"C{k}") for k in range(2, 8)])


def beside_neck(plate: Plate) -> Points:
    """The muscle beside the spine of the neck."""
    return neck(plate)[1:] - np.array([0.026, 0, 0])


def chest_wall(plate: Plate) -> Points:
    """The ribs that form the inner wall of the armpit."""
    return np.stack([along_rib(plate.figure, k, share) for k in (4, 5, 6) for share in (0.62, 0.7)])


FRONT = ("front", "close-up front")
BACK = ("back", "close-up back")
SIDE = ("side", "close-up side")
REGIONS: tuple[Region, ...] = (
    Region("sternum", ("front",), 0.022, breastbone, True),
    Region("sternoclavicular_joint", FRONT, 0.016, at("sternoclavicular")),
    Region("clavicle_medial", FRONT, 0.015, collar(0.26, 0.52)),
    Region("clavicle_lateral", FRONT, 0.014, collar(0.6, 0.86)),
    Region("supraclavicular_fossa", FRONT, 0.022, shifted("clavicle middle", 0.012, 0.0, 0.024)),
    Region("coracoid", FRONT, 0.013, at("coracoid")),
    Region("acj", (*FRONT, *SIDE), 0.012, shifted("acromioclavicular", 0.004, 0.0, 0.003)),
    Region("acromion", (*FRONT, *BACK, *SIDE), 0.013, at("acromion", "acromion back corner")),
    Region("joint_line_front", FRONT, 0.014, shifted("joint line front", 0.0, 0.0, -0.012)),
    Region("bursa_front", (*FRONT, *SIDE), 0.013, between("acromion", "lesser tuberosity", 0.42)),
    Region("bursa_outer", (*FRONT, *SIDE), 0.013, between("acromion", "greater tuberosity", 0.62)),
    Region(
        "greater_tuberosity",
        (*FRONT, *SIDE),
        0.013,
        shifted("greater tuberosity", -0.002, 0.0, -0.012),
    ),
    Region("groove", (*FRONT, *SIDE), 0.012, shifted("groove", -0.001, 0.0, -0.016)),
    Region("lesser_tuberosity", FRONT, 0.012, at("lesser tuberosity")),
    Region("humeral_shaft", ("front", "side"), 0.024, shaft(0.56, 0.74)),
    Region("pectoral", FRONT, 0.045, belly("pectoralis major", 0.25, 0.6, 0.35, 0.85)),
    Region("deltoid", (*FRONT, *SIDE), 0.022, belly("deltoid", 0.55, 0.78, 0.3, 0.7)),
    Region("biceps", ("front",), 0.026, belly("biceps", 0.6, 0.8)),
    Region("trapezius", BACK, 0.026, belly("trapezius", 0.35, 0.6, 0.15, 0.4)),
    Region("superior_angle", BACK, 0.015, at("superior angle")),
    Region("supraspinatus", BACK, 0.016, belly("supraspinatus", 0.1, 0.45)),
    Region("scapular_spine", BACK, 0.013, along("scapular spine", 0.2, 0.9)),
    Region("medial_border", BACK, 0.015, along("medial border", 0.1, 0.75)),
    Region("infraspinatus", BACK, 0.028, belly("infraspinatus", 0.15, 0.5)),
    Region("teres_minor", BACK, 0.014, belly("teres minor", 0.15, 0.6)),
    Region("inferior_angle", BACK, 0.018, at("inferior angle")),
    Region("joint_line_back", (*BACK, *SIDE), 0.015, at("joint line back")),
    Region("paraspinal", ("back",), 0.018, beside_neck),
    Region("neck_midline", ("back",), 0.013, neck, True),
    Region(
        "armpit_front_fold",
        ("raised armpit",),
        0.022,
        belly("pectoralis major", 0.62, 0.86, 0.6, 1.0),
    ),
    Region("armpit_inner", ("raised armpit",), 0.040, chest_wall),
    Region("armpit_outer", ("raised armpit",), 0.024, shaft(0.22, 0.5)),
    Region(
        "armpit_nodes", ("raised armpit",), 0.026, shifted("infraglenoid", 0.004, -0.02, -0.028)
    ),
)


def regions(plate: Plate) -> dict[str, tuple[str, tuple[float, float], float]]:
    """Of each place seen on a plate: its closed path, its best point (page metres) and the room
    round it (metres).
    """
    chosen = [region for region in REGIONS if plate.name in region.seen]
    owner = divided(plate, chosen)
    found = {}
    for number, region in enumerate(chosen):
        mask = largest(smooth_mask(owner == number, 4) & (owner == number), np.any(owner == number))
        if not mask.any():
            raise ValueError(f"{plate.name}: nothing is left of {region.name}")
        room = ndimage.distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
        row, column = np.unravel_index(int(room.argmax()), room.shape)
        best = plate.window.page(np.array([column + 0.5, row + 0.5]))
        line = max(boundary(mask, plate.window, closed=True), key=area)
        found[region.name] = (
            polyline(simplified(line, 0.0006)),
            (float(best[0]), float(best[1])),
            float(room.max()) * plate.window.dot,
        )
    return found


def divided(plate: Plate, chosen: list[Region]) -> NDArray[np.int64]:
    """For each dot the number of its place, -1 for none."""
    rows, columns = np.nonzero(plate.shape)
    page = plate.window.page(np.stack([columns + 0.5, rows + 0.5], axis=1))
    least, owner = np.full(len(page), 1.0), np.full(len(page), -1)
    for number, region in enumerate(chosen):
        seeds = plate.view.page(region.seeds(plate))
        if plate.half and not region.middle:
            seeds = seeds[seeds[:, 0] * plate.view.right[0] <= 0.004]
        distance = cKDTree(seeds).query(page, distance_upper_bound=region.reach)[0] / region.reach
        if plate.half and not region.middle:
            # The two sides' places must not share dots.
            distance[page[:, 0] * plate.view.right[0] > -0.001] = np.inf
        closer = distance < least
        owner[closer], least[closer] = number, distance[closer]
    answer = np.full(plate.window.shape, -1)
    answer[rows, columns] = owner
    return answer


def largest(mask: NDArray[np.bool_], some: bool) -> NDArray[np.bool_]:
    """The biggest part of a mask that hangs together."""
    if not some:
        return mask
    label, count = ndimage.label(mask)
    if count < 2:
        return mask
    found: NDArray[np.bool_] = label == 1 + np.bincount(label.reshape(-1))[1:].argmax()
    return found
