"""Triangle meshes: welding, refining, smoothing, normals, and the parts that hang together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components

Points = NDArray[np.float64]
Faces = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Mesh:
    """`points` (n, 3) in metres and `faces` (m, 3) of indices into them, wound outwards."""

    points: Points
    faces: Faces

    def moved(self, points: Points) -> Mesh:
        """The same faces on other points."""
        return Mesh(points, self.faces)

    def part_of(self, faces: NDArray[np.bool_]) -> Mesh:
        """The same points with only some of the faces."""
        return Mesh(self.points, self.faces[faces])


def welded(points: Points, faces: Faces, tolerance: float = 1e-5) -> Mesh:
    """One vertex per place; faces that collapse or repeat are dropped."""
    keys = np.round(points / tolerance).astype(np.int64)
    _, first, where = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    faces = where.reshape(-1)[faces]
    whole = (
        (faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 0] != faces[:, 2])
    )
    faces = faces[whole]
    _, once = np.unique(np.sort(faces, axis=1), axis=0, return_index=True)
    return Mesh(points[first], faces[np.sort(once)])


def compacted(mesh: Mesh, keep: NDArray[np.bool_]) -> tuple[Mesh, NDArray[np.int64]]:
    """Only the faces of `keep`, and the old numbers of the points that remain."""
    faces = mesh.faces[keep]
    used = np.unique(faces)
    new = np.full(len(mesh.points), -1)
    new[used] = np.arange(len(used))
    return Mesh(mesh.points[used], new[faces]), used


def edges(faces: Faces) -> NDArray[np.int64]:
    """Every edge once, as sorted pairs."""
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    return np.unique(np.sort(pairs, axis=1), axis=0)


def refined(mesh: Mesh) -> Mesh:
    """Every triangle cut into four at the middles of its edges."""
    f = mesh.faces
    pairs = np.sort(np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]]), axis=1)
    unique, where = np.unique(pairs, axis=0, return_inverse=True)
    middle = mesh.points[unique].mean(axis=1)
    a, b, c = where.reshape(3, -1) + len(mesh.points)
    new = np.concatenate(
        [
            np.stack([f[:, 0], a, c], 1),
            np.stack([f[:, 1], b, a], 1),
            np.stack([f[:, 2], c, b], 1),
            np.stack([a, b, c], 1),
        ]
    )
    return Mesh(np.concatenate([mesh.points, middle]), new)


def averaging(faces: Faces, count: int) -> csr_matrix:
    """The matrix that puts each vertex at the mean of its neighbours."""
    e = edges(faces)
    i = np.concatenate([e[:, 0], e[:, 1]])
    j = np.concatenate([e[:, 1], e[:, 0]])
    degree = np.maximum(np.bincount(i, minlength=count), 1)
    return coo_matrix((1.0 / degree[i], (i, j)), shape=(count, count)).tocsr()


def smoothed(mesh: Mesh, rounds: int, forward: float = 0.45, backward: float = -0.47) -> Mesh:
    """Corners rounded without shrinking: a step towards the neighbours' mean, then one away.

    Taubin G. A signal processing approach to fair surface design. SIGGRAPH 1995: 351-358.
    """
    mean = averaging(mesh.faces, len(mesh.points))
    points = mesh.points.copy()
    lonely = np.asarray(mean.sum(axis=1)).reshape(-1) == 0
    for _ in range(rounds):
        for step in (forward, backward):
            move = mean @ points - points
            move[lonely] = 0
            points += step * move
    return mesh.moved(points)


def face_normals(mesh: Mesh) -> Points:
    """Of each face, not of unit length (twice the area)."""
    a, b, c = (mesh.points[mesh.faces[:, k]] for k in range(3))
    return np.cross(b - a, c - a)


def vertex_normals(mesh: Mesh) -> Points:
    """Of each vertex: the mean of its faces by area, unit length."""
    total = np.zeros_like(mesh.points)
    for k in range(3):
        np.add.at(total, mesh.faces[:, k], face_normals(mesh))
    return total / np.maximum(np.linalg.norm(total, axis=1, keepdims=True), 1e-12)


def pieces(mesh: Mesh) -> list[NDArray[np.bool_]]:
    """Faces of each part that hangs together, as masks over the faces."""
    count = len(mesh.points)
    e = edges(mesh.faces)
    graph = coo_matrix((np.ones(len(e)), (e[:, 0], e[:, 1])), shape=(count, count))
    number, label = connected_components(graph, directed=False)
    of_face = label[mesh.faces[:, 0]]
    return [of_face == k for k in range(number)]


def closed(mesh: Mesh) -> Mesh:
    """Slits and small holes filled with triangles about their middle."""
    f = mesh.faces
    directed = np.concatenate([f[:, [0, 1]], f[:, [1, 2]], f[:, [2, 0]]])
    _, where, count = np.unique(
        np.sort(directed, axis=1), axis=0, return_inverse=True, return_counts=True
    )
    rim = directed[count[where.reshape(-1)] == 1]
    points, faces = mesh.points, f
    for loop in loops(rim):
        middle = points[loop].mean(axis=0)
        fan = [[b, a, len(points)] for a, b in zip(loop, [*loop[1:], loop[0]], strict=True)]
        points = np.concatenate([points, middle[None]])
        faces = np.concatenate([faces, np.array(fan)])
    return Mesh(points, faces)


def loops(rim: Faces) -> list[list[int]]:
    """Directed edges of a rim as closed rounds of points; what does not close is left."""
    following: dict[int, list[int]] = {}
    for a, b in rim.tolist():
        following.setdefault(a, []).append(b)
    found = []
    for start in sorted(following):
        loop, at = [start], start
        while following.get(at):
            at = following[at].pop()
            if at == start:
                break
            loop.append(at)
        if at == start and len(loop) > 2:
            found.append(loop)
    return found
