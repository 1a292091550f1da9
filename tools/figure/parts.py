"""The parts in which bones of the arm are drawn: the shoulder blade in three, the others whole."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tools.figure.body import Figure
from tools.figure.mesh import Mesh, Points

PARTS = ("scapula", "coracoid process", "scapular spine", "clavicle", "humerus")
SPINE_HEIGHT = 0.0075
"""Metres above the plate of the blade from which bone belongs to its spine."""


def bone_of(part: str) -> str:
    """The bone a part belongs to."""
    return part if part in ("clavicle", "humerus") else "scapula"


def split(figure: Figure, bones: dict[str, Mesh]) -> dict[str, Mesh]:
    """The parts of posed bones; faces are told apart on the resting bone."""
    faces = bones["scapula"].faces
    label = labelled(figure)
    blade = bones["scapula"].points
    return {
        "scapula": Mesh(blade, faces[label == 0]),
        "coracoid process": Mesh(blade, faces[label == 1]),
        "scapular spine": Mesh(blade, faces[label == 2]),
        "clavicle": bones["clavicle"],
        "humerus": bones["humerus"],
    }


@lru_cache(maxsize=2)
def labelled(figure: Figure) -> NDArray[np.int64]:
    """For each face of the shoulder blade 0 for the plate, 1 for the coracoid process, 2 for
    spine and acromion.
    """
    blade = figure.smooth["scapula"]
    coracoid, spine = of_scapula(blade.points)
    label: NDArray[np.int64] = np.where(
        majority(coracoid, blade.faces), 1, np.where(majority(spine, blade.faces), 2, 0)
    )
    return label


def majority(chosen: NDArray[np.bool_], faces: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Faces of which two corners or more are chosen."""
    found: NDArray[np.bool_] = chosen[faces].sum(axis=1) >= 2
    return found


def of_scapula(points: Points) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which points (forwards, up, right) belong to the coracoid process, and which to spine and
    acromion.
    """
    x, y, z = points.T
    coracoid = (x > -0.019) & (z < -0.017) & (y < -0.006)
    plate = points[(y < -0.03) & (x < -0.05)]
    centre = plate.mean(axis=0)
    normal = np.linalg.eigh((plate - centre).T @ (plate - centre))[1][:, 0]
    normal = normal * -np.sign(normal[0])
    high = (points - centre) @ normal > SPINE_HEIGHT
    acromion = (z > -0.03) & (y > -0.022)
    return coracoid, ((high & (y > -0.034) & (z < -0.02)) | acromion) & ~coracoid
