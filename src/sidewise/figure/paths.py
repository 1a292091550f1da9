"""The SVG path commands of the atlas (M, l, q, t, z) as polygons: what holds a point, how far
it is.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache
from math import hypot

Point = tuple[float, float]
TOKEN = re.compile(r"[A-Za-z]|-?\d+")
TAKES = {"M": 2, "l": 2, "q": 4, "t": 2, "z": 0}
STEPS = 3
"""Straight pieces for each curve: within a tenth of a millimetre of it."""


@lru_cache(maxsize=512)
def polygons(path: str) -> tuple[tuple[Point, ...], ...]:
    """Each part of a path as points. ValueError for a command that the atlas does not use."""
    parts: list[list[Point]] = []
    control: Point = (0.0, 0.0)
    for command, numbers in _commands(path):
        if command == "M":
            parts.append([(numbers[0], numbers[1])])
        elif command == "l":
            x, y = parts[-1][-1]
            parts[-1].append((x + numbers[0], y + numbers[1]))
        elif command in "qt":
            x, y = parts[-1][-1]
            control = (
                (x + numbers[0], y + numbers[1])
                if command == "q"
                else (2 * x - control[0], 2 * y - control[1])
            )
            end = (x + numbers[-2], y + numbers[-1])
            parts[-1] += _curve((x, y), control, end)
    return tuple(tuple(part) for part in parts)


def _commands(path: str) -> Iterator[tuple[str, list[float]]]:
    tokens = TOKEN.findall(path)
    known = all(token in TAKES for token in tokens if token.isalpha())
    if not known or "".join(tokens) != path.replace(" ", ""):
        raise ValueError(f"not a path of the atlas: {path[:60]}")
    index, command = 0, ""
    while index < len(tokens):
        if tokens[index].isalpha():
            command = tokens[index]
            index += 1
        take = TAKES[command]
        yield command, [float(token) for token in tokens[index : index + take]]
        index += take


def _curve(a: Point, b: Point, c: Point) -> list[Point]:
    shares = [step / STEPS for step in range(1, STEPS + 1)]
    return [
        (
            (1 - t) ** 2 * a[0] + 2 * t * (1 - t) * b[0] + t * t * c[0],
            (1 - t) ** 2 * a[1] + 2 * t * (1 - t) * b[1] + t * t * c[1],
        )
        for t in shares
    ]


def _edges(path: str) -> Iterator[tuple[Point, Point]]:
    for part in polygons(path):
        yield from zip(part, (*part[1:], part[0]), strict=True)


def holds(path: str, x: float, y: float) -> bool:
    """Whether a point lies in a filled path, by the even-odd rule."""
    inside = False
    for (ax, ay), (bx, by) in _edges(path):
        if (ay > y) != (by > y) and x < ax + (y - ay) / (by - ay) * (bx - ax):
            inside = not inside
    return inside


def distance(path: str, x: float, y: float) -> float:
    """From a point to a filled path, in its units; 0 where it lies within."""
    if holds(path, x, y):
        return 0.0
    return min((_to_edge(x, y, a, b) for a, b in _edges(path)), default=float("inf"))


def _to_edge(x: float, y: float, a: Point, b: Point) -> float:
    dx, dy = b[0] - a[0], b[1] - a[1]
    length = dx * dx + dy * dy
    along = ((x - a[0]) * dx + (y - a[1]) * dy) / length if length else 0.0
    along = min(1.0, max(0.0, along))
    return hypot(x - a[0] - along * dx, y - a[1] - along * dy)
