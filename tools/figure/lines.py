"""Lines inside an outline: where a surface turns away from the viewer and hides what lies
behind.
"""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from tools.figure.mesh import Mesh, Points, vertex_normals
from tools.figure.raster import Picture, View, Window
from tools.figure.trace import length

FACE = (0.0, 0.575)
"""The face is left blank: no lines in front of the first (metres backwards) and above the
second.
"""


def turning_lines(mesh: Mesh, view: View, level: float = 0.0) -> list[Points]:
    """Where the cosine between surface and viewer is `level`, as lines in space, (n, 3)."""
    facing = vertex_normals(mesh) @ view.toward - level
    facing = np.where(facing == 0, 1e-12, facing)
    positive = facing[mesh.faces] > 0
    mixed = mesh.faces[positive.any(axis=1) & ~positive.all(axis=1)]
    return chained(crossing_edges(mixed, facing), mesh.points, facing)


def crossing_edges(faces: NDArray[np.int64], facing: Points) -> list[list[tuple[int, int]]]:
    """For each face the two edges on which the sign changes."""
    pairs = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]], axis=2)
    changes = (facing[pairs[..., 0]] > 0) != (facing[pairs[..., 1]] > 0)
    two = pairs[changes].reshape(-1, 2, 2).tolist()
    return [[(a, b), (c, d)] for (a, b), (c, d) in two]


def chained(stretches: list[list[tuple[int, int]]], points: Points, facing: Points) -> list[Points]:
    """Stretches that share an edge, joined to lines."""
    meeting: dict[tuple[int, int], list[int]] = {}
    for index, pair in enumerate(stretches):
        for edge in pair:
            meeting.setdefault(edge, []).append(index)
    left = dict.fromkeys(range(len(stretches)))
    lines = []
    while left:
        first = next(iter(left))
        del left[first]
        back = followed(stretches[first][0], left, stretches, meeting)
        forth = followed(stretches[first][1], left, stretches, meeting)
        lines.append(placed([*back[::-1], *forth], points, facing))
    return lines


def followed(
    edge: tuple[int, int],
    left: dict[int, None],
    stretches: list[list[tuple[int, int]]],
    meeting: dict[tuple[int, int], list[int]],
) -> list[tuple[int, int]]:
    """Edges crossed one after the other from `edge` on; what is used is taken from `left`."""
    found = [edge]
    while True:
        following = next((k for k in meeting[edge] if k in left), None)
        if following is None:
            return found
        del left[following]
        a, b = stretches[following]
        edge = b if a == edge else a
        found.append(edge)


def placed(crossed: list[tuple[int, int]], points: Points, facing: Points) -> Points:
    """Where on each edge the sign changes."""
    a, b = np.array(crossed).T
    share = facing[a] / (facing[a] - facing[b])
    found: Points = points[a] + share[:, None] * (points[b] - points[a])
    return found


def seen(
    line: Points,
    view: View,
    window: Window,
    picture: Picture,
    *,
    bias: float,
    jump: float,
    reach: int = 3,
    part: int | None = None,
) -> list[Points]:
    """The stretches of a line that are visible and beyond which depth jumps by `jump`; page metres.

    Visible: not farther than `bias` behind what the picture shows nearby. `part`: only where that
    part is seen.
    """
    page = view.page(line)
    dots = np.floor(window.dots(page)).astype(int)
    rows, columns = window.shape
    inside = (
        (dots[:, 0] >= reach)
        & (dots[:, 0] < columns - reach)
        & (dots[:, 1] >= reach)
        & (dots[:, 1] < rows - reach)
    )
    good = inside.copy()
    c, r = dots[inside].T
    depth = view.depth(line[inside])
    wide, narrow = around(reach), around(1)
    near = picture.depth[r[:, None] + wide[:, 1], c[:, None] + wide[:, 0]]
    small = r[:, None] + narrow[:, 1], c[:, None] + narrow[:, 0]
    good[inside] = np.isfinite(near).all(axis=1) & (near.max(axis=1) - depth > jump)
    good[inside] &= depth <= picture.depth[small].min(axis=1) + bias
    if part is not None:
        good[inside] &= (picture.part[small] == part).any(axis=1)
    return stretches_of(page, bridged(good))


def around(reach: int) -> NDArray[np.int64]:
    """Steps (columns, rows) to every dot of a square about one."""
    steps = np.arange(-reach, reach + 1)
    return np.stack(np.meshgrid(steps, steps), axis=-1).reshape(-1, 2)


def bridged(good: NDArray[np.bool_], gap: int = 3) -> NDArray[np.bool_]:
    """Short gaps closed, so that a line is not dotted by chance."""
    found = good.copy()
    on = np.flatnonzero(good)
    for a, b in itertools.pairwise(on):
        if 1 < b - a <= gap + 1:
            found[a:b] = True
    return found


def stretches_of(page: Points, good: NDArray[np.bool_], least: float = 0.006) -> list[Points]:
    """Runs of good points at least `least` metres long."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    runs = [page[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= 2]
    return [run for run in runs if length(run) >= least]


def off_face(line: Points) -> list[Points]:
    """Stretches of a line outside the face."""
    good = (line[:, 1] > FACE[0]) | (line[:, 2] < FACE[1]) | (np.abs(line[:, 0]) > 0.056)
    return runs_of(line, good)


def under_chin(line: Points) -> list[Points]:
    """Stretches of a line along the lower edge of the jaw, which turns away too softly to show
    otherwise.
    """
    return runs_of(line, (line[:, 2] > 0.585) & (line[:, 2] < 0.66) & (line[:, 1] < 0.01))


def runs_of(line: Points, good: NDArray[np.bool_]) -> list[Points]:
    """Stretches of points that are good, two or more."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    return [line[a:b] for a, b in zip(edges[::2], edges[1::2], strict=True) if b - a >= 2]
