"""From masks and lines to SVG path commands in whole half-millimetres.

A smooth path is a quadratic B-spline: the corners of the simplified line are its control points and
it passes through the middles between them. SVG's `t` command mirrors the last control point, so the
middles alone need writing; each is chosen so that the control point it implies is within half a
millimetre of the true one, and errors do not add up.
"""

from __future__ import annotations

import re

import contourpy
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tools.figure.mesh import Points
from tools.figure.raster import Window

UNITS = 2000.0
"""Units of the drawing per metre: half a millimetre each."""


def boundary(
    mask: NDArray[np.bool_], window: Window, *, closed: bool, blur: float = 1.0
) -> list[Points]:
    """The edge of a mask as lines in page metres; `closed` also along the window's border."""
    field = ndimage.gaussian_filter(
        np.pad(mask, 3 if closed else 0).astype(float), blur, mode="nearest"
    )
    if closed:
        field[0], field[-1], field[:, 0], field[:, -1] = 0, 0, 0, 0
    lines = contourpy.contour_generator(z=field, line_type="Separate").lines(0.5)
    offset = (3 if closed else 0) - 0.5
    return [window.page(np.asarray(line) - offset) for line in lines]


def area(line: Points) -> float:
    """Of a closed line, square metres, without sign."""
    x, y = line.T
    return float(abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) / 2)


def length(line: Points) -> float:
    """Metres."""
    return float(np.sqrt((np.diff(line, axis=0) ** 2).sum(axis=1)).sum())


def simplified(line: Points, tolerance: float) -> Points:
    """Fewer points, nowhere farther than `tolerance` metres from the line.

    Douglas DH, Peucker TK. Cartographica 1973;10(2):112-122.
    """
    keep = np.zeros(len(line), dtype=bool)
    keep[[0, -1]] = True
    stack = [(0, len(line) - 1)]
    while stack:
        first, last = stack.pop()
        if last - first < 2:
            continue
        away = distances(line[first + 1 : last], line[first], line[last])
        if away.max() > tolerance:
            middle = first + 1 + int(away.argmax())
            keep[middle] = True
            stack += [(first, middle), (middle, last)]
    return line[keep]


def distances(points: Points, a: Points, b: Points) -> Points:
    """From points to the stretch between a and b."""
    along = b - a
    size = float(along @ along)
    if size == 0:
        return np.linalg.norm(points - a, axis=1)
    share = np.clip((points - a) @ along / size, 0, 1)
    return np.linalg.norm(points - a - share[:, None] * along, axis=1)


def calmed(line: Points, *, closed: bool, reach: float = 2.5) -> Points:
    """A line without the stairs of its dots: each point the weighted mean of its neighbours, ends
    kept.
    """
    if len(line) < 8:
        return line
    if closed:
        body = ndimage.gaussian_filter1d(line[:-1], reach, axis=0, mode="wrap")
        return np.concatenate([body, body[:1]])
    found = ndimage.gaussian_filter1d(line, reach, axis=0, mode="nearest")
    found[[0, -1]] = line[[0, -1]]
    return found


def closed_path(line: Points, tolerance: float = 0.0004) -> str:
    """A closed smooth path."""
    line = calmed(line, closed=True)
    half = len(line) // 2
    corners = np.concatenate(
        [simplified(line[: half + 1], tolerance)[:-1], simplified(line[half:], tolerance)[:-1]]
    )
    if len(corners) < 3:
        return ""
    corners = corners * UNITS
    start = np.round((corners[-1] + corners[0]) / 2)
    return written(start, corners, start) + "z"


def open_path(line: Points, tolerance: float = 0.0004) -> str:
    """An open smooth path that keeps its two ends."""
    corners = simplified(calmed(line, closed=False), tolerance) * UNITS
    start, end = np.round(corners[0]), np.round(corners[-1])
    if len(corners) == 2:
        return f"M{number(start)}l{number(end - start)}"
    return written(start, corners[1:-1], end)


def written(start: Points, corners: Points, end: Points) -> str:
    """The commands: from `start` about the `corners` to `end`."""
    control = np.round(corners[0])
    at, found = start, f"M{number(start)}"
    for index in range(len(corners)):
        last = index == len(corners) - 1
        to = end if last else np.round((control + corners[index + 1]) / 2)
        step = number(to - at)
        found += f"q{number(control - at)} {step}" if index == 0 else f"t{step}"
        at, control = to, 2 * to - control
    return compact(found)


def number(pair: Points) -> str:
    """Two whole numbers."""
    return f"{int(pair[0])} {int(pair[1])}"


def compact(path: str) -> str:
    """No space before a minus sign, no command repeated."""
    path = path.replace(" -", "-")
    return re.sub(r"(?<=t)([^a-zA-Z]+)((?:t[^a-zA-Z]+)+)", joined, path)


def joined(found: re.Match[str]) -> str:
    """Several `t` commands as one."""
    rest = found.group(2).replace("t-", "-").replace("t", " ")
    return found.group(1) + rest


def polyline(line: Points) -> str:
    """Straight stretches, for regions: closed."""
    points = np.round(line * UNITS)
    steps = np.diff(points, axis=0)
    body = " ".join(number(step) for step in steps if step.any())
    return compact(f"M{number(points[0])}l{body}z").replace(" -", "-")
