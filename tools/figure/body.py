"""The bones inside the skin: the fit, the posed skeleton, and the skin that follows it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from scipy.spatial import cKDTree

from tools.figure import quaternions as quat
from tools.figure.chain import Frame, Posture, frames
from tools.figure.mesh import Mesh, Points, averaging, closed, refined, smoothed, vertex_normals
from tools.figure.source import SEGMENTS, Skin

AXES = np.array([[0, 0, -1], [-1, 0, 0], [0, 1, 0]], dtype=float)
"""From a bone's axes (forwards, up, right) to the body's (left, back, up)."""
BIND = Posture(elevation=42, plane=0, rotation=15, elbow=43)
"""The pose in which the skin was modelled, read off its outline."""
ROUND = 0.4
"""How much of the skin's blending is by dual quaternions, which bulge when the arm is overhead; the
rest is linear, which caves in."""
CLEARANCE = 0.005
"""Metres of soft tissue kept over bone: skin nearer than this is pushed out."""

PUSHES = (6, 4, 4)
"""How many times skin is pushed out, before each evening and at the end."""


@dataclass(frozen=True, slots=True)
class Fit:
    """How the skeleton is laid into the skin: one scale and a shift, then the trunk made to lie
    inside.

    `squeeze` thins the thorax front to back about the breastbone; `lean` tilts the neck forwards
    above
    `lean_from` (metres). Found on the depth of landmarks that lie under the skin; see
    docs/figure.md.
    """

    scale: float = 0.97526
    shift: tuple[float, float, float] = (0.0, -0.05725, 0.51733)
    squeeze: float = 0.93
    lean: float = 0.33
    lean_from: float = 0.515

    def place(self, points: Points) -> Points:
        """Points in the axes of the thorax, in the body frame."""
        return self.scale * points @ AXES.T + self.shift

    def place_trunk(self, points: Points) -> Points:
        """The same for bones of the trunk, which the skin holds a little closer."""
        placed = self.place(points)
        front = self.place(np.array([[0.07, 0.0, 0.0]]))[0, 1]
        placed[:, 1] = front + (placed[:, 1] - front) * self.squeeze
        placed[:, 1] -= self.lean * np.maximum(placed[:, 2] - self.lean_from, 0)
        return placed


@dataclass(frozen=True, eq=False)
class Figure:
    """Bones and skin as read, and what is worked out once from them."""

    bones: dict[str, Mesh]
    skin: Skin
    fit: Fit = field(default_factory=Fit)

    @cached_property
    def smooth(self) -> dict[str, Mesh]:
        """Every bone, refined and rounded."""
        return {name: rounded(mesh) for name, mesh in self.bones.items()}

    @cached_property
    def trunk(self) -> dict[str, Mesh]:
        """Bones that do not move, in the body frame; left ribs are mirror images."""
        found = {}
        for name, mesh in self.smooth.items():
            if name in ("clavicle", "scapula", "humerus"):
                continue
            found[name] = outward(mesh.moved(self.fit.place_trunk(mesh.points)))
            if name.startswith("rib"):
                found[f"left {name}"] = mirrored(found[name])
        return found

    @cached_property
    def fine(self) -> tuple[Mesh, Points]:
        """The resting skin with every edge halved, and the shares of its vertices."""
        return refined(self.skin.mesh), refined(self.skin.mesh.moved(self.skin.weights)).points

    @cached_property
    def neighbours(self) -> object:
        """The averaging matrix of the skin."""
        return averaging(self.skin.mesh.faces, len(self.skin.mesh.points))


def rounded(mesh: Mesh) -> Mesh:
    """Slits closed, refined twice, corners rounded each time."""
    mesh = closed(mesh)
    for _ in range(2):
        mesh = smoothed(refined(mesh), 6)
    return mesh


def mirrored(mesh: Mesh) -> Mesh:
    """The other side's: x changes sign and faces turn round."""
    return Mesh(mesh.points * [-1, 1, 1], mesh.faces[:, ::-1])


def outward(mesh: Mesh) -> Mesh:
    """Faces turned so that the volume is positive."""
    a, b, c = (mesh.points[mesh.faces[:, k]] - mesh.points.mean(axis=0) for k in range(3))
    volume = np.einsum("ij,ij->i", a, np.cross(b, c)).sum()
    return mesh if volume > 0 else Mesh(mesh.points, mesh.faces[:, ::-1])


@dataclass(frozen=True)
class Posed:
    """The figure in one posture: arm bones and skin in the body frame, right arm only."""

    figure: Figure
    posture: Posture

    @cached_property
    def frames(self) -> dict[str, Frame]:
        """Where each bone of the arm is, in the axes of the thorax."""
        return frames(self.posture)

    def place(self, bone: str, points: Points) -> Points:
        """Points given in a bone's own axes, in the body frame."""
        return self.figure.fit.place(self.frames[bone].place(np.atleast_2d(points)))

    @cached_property
    def bones(self) -> dict[str, Mesh]:
        """Clavicle, scapula and humerus."""
        smooth = self.figure.smooth
        return {
            name: outward(smooth[name].moved(self.place(name, smooth[name].points)))
            for name in ("clavicle", "scapula", "humerus")
        }

    @cached_property
    def skin(self) -> Mesh:
        """The skin, following the bones and kept clear of them."""
        followed = self.figure.skin.mesh.moved(blended(self))
        return cleared(followed, self)

    @cached_property
    def skin_normals(self) -> Points:
        """Outward directions of the skin's vertices."""
        return vertex_normals(self.skin)


def segment_motion(posed: Posed, bone: str) -> tuple[Points, Points, Points]:
    """A bone's change from the bind pose in the body frame: unit quaternion, and the joint before
    and after.
    """
    before, after = frames(BIND)[bone], posed.frames[bone]
    turn = AXES @ (after.turn @ before.turn.T) @ AXES.T
    place = posed.figure.fit.place
    return quat.from_matrix(turn), place(before.origin[None])[0], place(after.origin[None])[0]


def blended(posed: Posed) -> Points:
    """Dual-quaternion blending of the segments' motions.

    Kavan L, Collins S, Zara J, O'Sullivan C. ACM Trans Graph 2008;27(4):105. Rotation of the
    humerus
    about its shaft reaches the skin little by little from shoulder to elbow, as skin does.
    """
    skin = posed.figure.skin
    points, weights = skin.mesh.points, skin.weights
    straight = np.zeros((len(points), 3))
    total_real = np.zeros((len(points), 4))
    total_dual = np.zeros((len(points), 4))
    for column, name in enumerate(SEGMENTS):
        if name in ("trunk", "left arm"):
            real, before, after = np.array([1.0, 0, 0, 0]), np.zeros(3), np.zeros(3)
        else:
            real, before, after = segment_motion(posed, name)
        reals = np.broadcast_to(real, (len(points), 4))
        if name == "humerus":
            reals = untwisted(posed, real, points, before)
        # q and -q are the same turn; blending must take the nearer one.
        reals = np.where((reals[:, :1] < 0), -reals, reals)
        moved = after - quat.rotate(reals, np.broadcast_to(before, points.shape))
        duals = 0.5 * quat.multiply(quat.pure(moved), reals)
        straight += weights[:, column, None] * (quat.rotate(reals, points) + moved)
        total_real += weights[:, column, None] * reals
        total_dual += weights[:, column, None] * duals
    bent = quat.transform(total_real, total_dual, points)
    return ROUND * bent + (1 - ROUND) * straight


def untwisted(posed: Posed, real: Points, points: Points, head: Points) -> Points:
    """The humerus' turn for each vertex, with less of its twist the nearer the vertex is to the
    shoulder.
    """
    bind = frames(BIND)
    place = posed.figure.fit.place
    elbow = place(bind["forearm"].origin[None])[0]
    shaft = (elbow - head) / np.linalg.norm(elbow - head)
    along = (points - head) @ shaft / np.linalg.norm(elbow - head)
    swing, angle = quat.swing_and_twist(real, shaft)
    kept = np.clip(0.15 + 0.85 * along / 0.75, 0.15, 1.0)
    return quat.multiply(np.broadcast_to(swing, (len(points), 4)), quat.about(shaft, angle * kept))


def cleared(skin: Mesh, posed: Posed) -> Mesh:
    """Skin pushed out where it lies nearer than CLEARANCE to a bone of the arm, and evened.

    Evening takes some of the clearance back, so that both are done in turn, pushing last.
    """
    bone = np.concatenate([mesh.points for mesh in posed.bones.values()])
    weights = posed.figure.skin.weights
    mine = np.flatnonzero(weights[:, SEGMENTS.index("left arm")] < 0.05)
    points = skin.points
    for rounds in PUSHES:
        points, touched = pushed(skin.moved(points), bone, mine, rounds)
        if rounds != PUSHES[-1]:
            points = relaxed(points, touched, posed)
    return skin.moved(points)


def pushed(skin: Mesh, bone: Points, mine: Points, rounds: int) -> tuple[Points, Points]:
    """Points of the skin after at most so many pushes, and which of them moved."""
    points = skin.points.copy()
    touched = np.zeros(len(points), dtype=bool)
    for _ in range(rounds):
        normals = vertex_normals(skin.moved(points))
        push = push_needed(points, normals, bone, mine)
        if push.max() < 2e-4:
            break
        points += normals * push[:, None]
        touched |= push > 5e-4
    return points, touched


def push_needed(points: Points, normals: Points, bone: Points, mine: Points) -> Points:
    """Metres each skin vertex should move outwards, spread smoothly over 18 mm."""
    tree = cKDTree(points[mine])
    distance, nearest = tree.query(bone, k=3)
    nearest = mine[nearest]
    depth = np.einsum("ijk,ijk->ij", points[nearest] - bone[:, None], normals[nearest])
    lacking = np.where(distance < 0.04, np.maximum(CLEARANCE - depth, 0), 0)
    wanted = np.zeros(len(points))
    np.maximum.at(wanted, nearest.reshape(-1), lacking.reshape(-1))
    source = np.flatnonzero(wanted > 0)
    if not len(source):
        return wanted
    near = cKDTree(points[source]).sparse_distance_matrix(tree, 0.045, output_type="coo_matrix")
    spread = np.exp(-0.5 * (near.data / 0.018) ** 2) * wanted[source][near.row]
    np.maximum.at(wanted, mine[near.col], spread)
    return wanted


def relaxed(points: Points, touched: Points, posed: Posed) -> Points:
    """Three steps towards the neighbours' mean where skin was pushed."""
    mean = posed.figure.neighbours
    for _ in range(3):
        points[touched] += 0.5 * ((mean @ points) - points)[touched]  # type: ignore[operator]
    return points
