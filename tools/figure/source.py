"""Where the bones and the skin come from. To exchange the bones, exchange this module.

`bones()` answers meshes in a bone's own axes (x forwards, y up, z to the right, metres): clavicle,
scapula and humerus of the right side about their joints, and the trunk (breastbone with costal
cartilages, right ribs, vertebrae) in the axes of the thorax. `skin()` answers the body in the body
frame with the share each segment has in each vertex. Both read thinned copies that stand beside
this file, so that redrawing needs no package; `extract` makes the copies anew from the wheels.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tools.figure.mesh import Mesh, Points

HERE = Path(__file__).parent / "source"
SEGMENTS = ("trunk", "clavicle", "scapula", "humerus", "forearm", "left arm")
"""Whose movement the skin follows; only the right arm moves, the left is drawn as its mirror
image.
"""


@dataclass(frozen=True, slots=True)
class Skin:
    """The body in its resting pose: `mesh`, and `weights` (n, segments), rows summing to one."""

    mesh: Mesh
    weights: NDArray[np.float64]


def bones(folder: Path = HERE) -> dict[str, Mesh]:
    """Every bone by name: `clavicle`, `scapula`, `humerus`, `sternum`, `rib 1`..., `C1`...,
    `L5`.
    """
    with np.load(folder / "bones.npz") as stored:
        names = sorted({key.rsplit("|", 1)[0] for key in stored})
        return {
            name: Mesh(
                stored[f"{name}|points"].astype(float) * 1e-5,
                stored[f"{name}|faces"].astype(np.int64),
            )
            for name in names
        }


def skin(folder: Path = HERE) -> Skin:
    """The skin of head, trunk and arms, above the hips."""
    with np.load(folder / "skin.npz") as stored:
        mesh = Mesh(stored["points"].astype(float) * 1e-5, stored["faces"].astype(np.int64))
        weights = stored["weights"].astype(float)
    return Skin(mesh, weights / weights.sum(axis=1, keepdims=True))


def save_bones(meshes: dict[str, Mesh], folder: Path = HERE) -> None:
    """Writes the thinned copy: hundredths of a millimetre."""
    arrays: dict[str, NDArray[np.int32]] = {}
    for name, mesh in sorted(meshes.items()):
        arrays[f"{name}|points"] = in_hundredths(mesh.points)
        arrays[f"{name}|faces"] = mesh.faces.astype(np.int32)
    np.savez_compressed(folder / "bones.npz", **arrays)


def save_skin(found: Skin, folder: Path = HERE) -> None:
    """Writes the thinned copy: hundredths of a millimetre, shares in 255ths."""
    np.savez_compressed(
        folder / "skin.npz",
        points=in_hundredths(found.mesh.points),
        faces=found.mesh.faces.astype(np.int32),
        weights=np.round(found.weights * 255).astype(np.uint8),
    )


def in_hundredths(points: Points) -> NDArray[np.int32]:
    """Metres as whole hundredths of a millimetre."""
    return np.round(points * 1e5).astype(np.int32)
