"""A picture of numbers: which part is seen at each dot, and how far away it is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tools.figure.mesh import Mesh, Points

FAR = np.iinfo(np.int64).max


@dataclass(frozen=True, slots=True)
class View:
    """A direction of looking, without perspective.

    `right` and `up` of the page and `toward` the viewer are unit vectors of the body frame.
    """

    right: tuple[float, float, float]
    up: tuple[float, float, float]
    toward: tuple[float, float, float]

    def page(self, points: Points) -> Points:
        """Points (n, 3) as (n, 2): metres right and down on the page."""
        return np.stack([points @ self.right, -(points @ self.up)], axis=-1)

    def depth(self, points: Points) -> Points:
        """Metres away from the viewer (smaller is nearer)."""
        return -(points @ self.toward)


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle of the page in metres, and the size of its dots."""

    left: float
    top: float
    right: float
    bottom: float
    dot: float = 0.0008

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (
            int(np.ceil((self.bottom - self.top) / self.dot)),
            int(np.ceil((self.right - self.left) / self.dot)),
        )

    def dots(self, page: Points) -> Points:
        """Page metres in dots (columns, rows)."""
        return (page - [self.left, self.top]) / self.dot

    def page(self, dots: Points) -> Points:
        """Dots in page metres."""
        return dots * self.dot + [self.left, self.top]


@dataclass(frozen=True, slots=True)
class Picture:
    """What is seen: `part` (rows, columns), -1 where nothing is, and `depth` in metres."""

    part: NDArray[np.int64]
    depth: NDArray[np.float64]


def picture(meshes: list[Mesh], view: View, window: Window, *, solid: bool = True) -> Picture:
    """The nearest of several meshes at each dot. `solid`: closed surfaces, whose far faces need
    no drawing.
    """
    rows, columns = window.shape
    buffer = np.full(rows * columns, FAR, dtype=np.int64)
    for number, mesh in enumerate(meshes):
        splat(buffer, mesh, number, view, window, solid)
    empty = buffer == FAR
    part = np.where(empty, -1, buffer & 0xFFF)
    depth = np.where(empty, np.inf, ((buffer >> 12) - (1 << 30)) * 1e-6)
    return Picture(part.reshape(rows, columns), depth.reshape(rows, columns))


def splat(
    buffer: NDArray[np.int64], mesh: Mesh, number: int, view: View, window: Window, solid: bool
) -> None:
    """Marks every dot a mesh covers, keeping what is nearer."""
    where = np.concatenate(
        [window.dots(view.page(mesh.points)), view.depth(mesh.points)[:, None]], axis=1
    )
    faces = in_window(mesh.faces, where, window)
    if solid:
        a, b, c = (where[faces[:, k], :2] for k in range(3))
        # Counter-clockwise seen from outside is clockwise on a page whose second axis runs down.
        faces = faces[(b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0] < 0]
    if not len(faces):
        return
    corners = where[faces][:, :, :2]
    longest = np.sqrt(((corners - np.roll(corners, 1, axis=1)) ** 2).sum(axis=2)).max(axis=1)
    steps = np.ceil(longest / 0.85).astype(int) + 1
    where = where.astype(np.float32)
    # Triangles of like size share one grid of barycentric steps.
    for count in np.unique(steps):
        chosen = faces[steps == count]
        shares = barycentric(int(count))
        for lot in np.array_split(chosen, len(chosen) * len(shares) // 400_000 + 1):
            mark(buffer, np.matmul(shares, where[lot]).reshape(-1, 3), number, window)


def in_window(faces: NDArray[np.int64], where: Points, window: Window) -> NDArray[np.int64]:
    """Faces that may be seen in the window."""
    rows, columns = window.shape
    corners = where[faces]
    low, high = corners.min(axis=1), corners.max(axis=1)
    return faces[(high[:, 0] >= 0) & (high[:, 1] >= 0) & (low[:, 0] < columns) & (low[:, 1] < rows)]


def barycentric(count: int) -> NDArray[np.float32]:
    """Even steps over a triangle: shares of its corners, (steps, 3)."""
    i, j = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
    inside = i + j <= count
    u, v = i[inside] / count, j[inside] / count
    return np.stack([1 - u - v, u, v], axis=1).astype(np.float32)


def mark(
    buffer: NDArray[np.int64], where: NDArray[np.float32], number: int, window: Window
) -> None:
    """Puts dots into the buffer; depth in micrometres stands above the part's number."""
    rows, columns = window.shape
    c, r = np.floor(where[:, 0]).astype(np.int64), np.floor(where[:, 1]).astype(np.int64)
    inside = (r >= 0) & (r < rows) & (c >= 0) & (c < columns)
    key = ((np.round(where[inside, 2] * 1e6).astype(np.int64) + (1 << 30)) << 12) | number
    np.minimum.at(buffer, r[inside] * columns + c[inside], key)
