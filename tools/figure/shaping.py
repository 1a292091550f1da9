"""Muscles shaped in one posture: bundles of fibres, given thickness and laid clear of bone.

A fibre runs from a point of the origin to one of the insertion. Superficial muscles are brought up
to lie just under the skin, deep ones are kept off the ball of the humerus and outside the ribs.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.spatial import cKDTree

from tools.figure.body import Figure, Posed
from tools.figure.mesh import Mesh, Points
from tools.figure.muscles import Muscle
from tools.figure.sites import Sites

STEPS = 26
"""Points of a fibre."""


@dataclass(frozen=True, slots=True)
class Shaped:
    """A muscle in one posture: `fibres` (n, STEPS, 3) and the `mesh` round them."""

    muscle: Muscle
    fibres: Points
    mesh: Mesh


def shaped(muscle: Muscle, at: Sites) -> Shaped:
    """A muscle in one posture."""
    origin, insertion = muscle.ends(at)
    share = np.linspace(0, 1, STEPS)[None, :, None]
    fibres = origin[:, None] * (1 - share) + insertion[:, None] * share
    skins = facing_skin(muscle, at, fibres)
    if muscle.skin == "shoulder":
        outwards = at.landmark("greater tuberosity") - at.landmark("joint centre")
        fibres = fibres + outwards * np.sin(np.pi * share)
    fibres = fibres + muscle.plate * blade_normal(at) * np.sin(np.pi * share) ** 0.7
    for _ in range(6):
        if skins and muscle.under is not None:
            fibres = np.stack([lifted(f, *s, muscle) for f, s in zip(fibres, skins, strict=True)])
        if muscle.head:
            fibres = off_head(fibres, at, muscle.head)
        if muscle.thorax:
            fibres = off_thorax(fibres, at.posed)
        fibres = evened(fibres)
    return Shaped(muscle, fibres, tubes(fibres, muscle.belly, muscle.tip))


def blade_normal(at: Sites) -> Points:
    """The direction straight back from the plate of the shoulder blade."""
    up = at.landmark("superior angle") - at.landmark("inferior angle")
    out = at.landmark("infraglenoid") - at.landmark("medial border")
    found = np.cross(out, up)
    return found / np.linalg.norm(found)


def facing_skin(muscle: Muscle, at: Sites, fibres: Points) -> list[tuple[Points, Points, cKDTree]]:
    """For each fibre the skin on its side of the body; nothing for deep muscles."""
    if muscle.facing is None:
        return []
    weights, normals = at.posed.figure.skin.weights, at.posed.skin_normals
    allowed = weights[:, -1] < 0.05
    of_arm = weights[:, 3:5].sum(axis=1)
    if muscle.skin == "trunk":
        allowed &= of_arm < 0.6
    elif muscle.skin == "shoulder":
        # The side of the chest faces outwards too, but lies within the arm.
        allowed &= weights[:, 0] < 0.4
    elif muscle.skin == "arm":
        allowed &= of_arm > 0.5
    found: dict[bytes, tuple[Points, Points, cKDTree]] = {}
    answer = []
    for direction in averaged(muscle.facing(at, fibres)):
        key = direction.tobytes()
        if key not in found:
            chosen = allowed & (normals @ (direction / np.linalg.norm(direction)) > 0.15)
            points = at.posed.skin.points[chosen]
            found[key] = points, normals[chosen], cKDTree(points)
        answer.append(found[key])
    return answer


def averaged(directions: Points, reach: int = 4) -> Points:
    """Each direction as the mean of its neighbours', so that no gap opens between two fibres."""
    rows = np.pad(directions, ((reach, reach), (0, 0)), mode="edge")
    return np.stack([rows[k : k + 2 * reach + 1].mean(axis=0) for k in range(len(directions))])


def lifted(fibre: Points, skin: Points, normals: Points, tree: cKDTree, muscle: Muscle) -> Points:
    """A fibre brought to lie below the skin; its ends stay on the bone."""
    _, nearest = tree.query(fibre, k=4)
    direction = normals[nearest].mean(axis=1)
    direction /= np.maximum(np.linalg.norm(direction, axis=1, keepdims=True), 1e-9)
    depth = np.einsum("ij,ij->i", skin[nearest].mean(axis=1) - fibre, direction)
    share = np.minimum(np.linspace(0, 1, STEPS) / muscle.until, 1)
    held = np.clip(1.3 * np.sin(np.pi * share).clip(0) ** 0.5, 0, 1)
    return (
        fibre
        + direction * np.clip((depth - (muscle.under or 0)) * held * 0.6, -0.02, 0.03)[:, None]
    )


def off_head(fibres: Points, at: Sites, radius: float) -> Points:
    """Fibres kept outside a ball about the centre of the humeral head."""
    centre = at.landmark("joint centre")
    away = fibres - centre
    distance = np.linalg.norm(away, axis=2, keepdims=True)
    out = centre + away / np.maximum(distance, 1e-6) * np.maximum(
        distance, radius * at.posed.figure.fit.scale
    )
    inner = slice(1, -1)
    fibres = fibres.copy()
    fibres[:, inner] = out[:, inner]
    return fibres


def off_thorax(fibres: Points, posed: Posed) -> Points:
    """Fibres kept outside the ribs: an ellipse at each level."""
    levels, widths, depths, centres = rib_ellipses(posed.figure)
    inner = fibres[:, 1:-1]
    width, depth, centre = (
        np.interp(inner[..., 2], levels, values) for values in (widths, depths, centres)
    )
    x, y = inner[..., 0] / width, (inner[..., 1] - centre) / depth
    out = np.maximum(1.07 / np.hypot(x, y), 1)
    found = fibres.copy()
    found[:, 1:-1, 0] = x * out * width
    found[:, 1:-1, 1] = y * out * depth + centre
    return found


@lru_cache(maxsize=2)
def rib_ellipses(figure: Figure) -> tuple[Points, Points, Points, Points]:
    """Heights, and at each the half width, half depth and middle (front to back) of the rib
    cage.
    """
    ribs = np.concatenate(
        [mesh.points for name, mesh in figure.trunk.items() if name.startswith("rib")]
    )
    levels = np.arange(ribs[:, 2].min() + 0.02, ribs[:, 2].max() - 0.01, 0.01)
    rows = [ribs[np.abs(ribs[:, 2] - level) < 0.02] for level in levels]
    front, back = (np.array([f(row[:, 1]) for row in rows]) for f in (np.min, np.max))
    return (
        levels,
        np.array([np.abs(row[:, 0]).max() for row in rows]),
        (back - front) / 2,
        (back + front) / 2,
    )


def evened(fibres: Points) -> Points:
    """Fibres smoothed along and across; their ends stay."""
    found = fibres.copy()
    found[:, 1:-1] = 0.5 * fibres[:, 1:-1] + 0.25 * (fibres[:, :-2] + fibres[:, 2:])
    if len(found) > 2:
        across = found.copy()
        across[1:-1, 1:-1] = 0.6 * found[1:-1, 1:-1] + 0.2 * (found[:-2, 1:-1] + found[2:, 1:-1])
        found = across
    return found


def tubes(fibres: Points, belly: float, tip: float, sides: int = 8) -> Mesh:
    """A tube round every fibre and a sheet between neighbours."""
    share = np.linspace(0, 1, STEPS)
    radius = tip + (belly - tip) * np.sin(np.pi * share) ** 0.8
    angles = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    ring = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    points, faces = [fibres.reshape(-1, 3)], []
    for number in range(len(fibres) - 1):
        faces.append(grid(number * STEPS, (number + 1) * STEPS))
    for fibre in fibres:
        base = sum(len(p) for p in points)
        u, v = across(fibre)
        round_ = fibre[:, None] + radius[:, None, None] * (
            ring[:, 0, None] * u[:, None] + ring[:, 1, None] * v[:, None]
        )
        points.append(round_.reshape(-1, 3))
        faces += [around(base, sides)]
    return Mesh(np.concatenate(points), np.concatenate(faces))


def across(fibre: Points) -> tuple[Points, Points]:
    """Two directions square to a fibre at each of its points."""
    along = np.gradient(fibre, axis=0)
    along /= np.maximum(np.linalg.norm(along, axis=1, keepdims=True), 1e-9)
    helper = np.eye(3)[np.abs(along).mean(axis=0).argmin()]
    u = np.cross(along, helper)
    u /= np.maximum(np.linalg.norm(u, axis=1, keepdims=True), 1e-9)
    return u, np.cross(along, u)


def grid(first: int, second: int) -> Points:
    """Triangles between two fibres of STEPS points."""
    k = np.arange(STEPS - 1)
    return np.concatenate(
        [
            np.stack([first + k, second + k, first + k + 1], 1),
            np.stack([second + k, second + k + 1, first + k + 1], 1),
        ]
    )


def around(base: int, sides: int) -> Points:
    """Triangles of a tube."""
    i, j = np.meshgrid(np.arange(STEPS - 1), np.arange(sides), indexing="ij")
    a, b = base + i * sides + j, base + i * sides + (j + 1) % sides
    c, d = a + sides, b + sides
    return np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([b, d, c], -1).reshape(-1, 3)]
    )
