"""Reads the SVG path commands the atlas uses (M, l, q, t, z) into polygons, without any graphics
library.
"""

from __future__ import annotations

import re

import numpy as np
from numpy.typing import NDArray

Polygon = NDArray[np.float64]
TOKEN = re.compile(r"[A-Za-z]|-?\d+")
TAKES = {"M": 2, "l": 2, "q": 4, "t": 2, "z": 0}


def polygons(path: str, steps: int = 4) -> list[tuple[Polygon, bool]]:
    """Each part of a path as points, and whether it is closed."""
    found: list[tuple[Polygon, bool]] = []
    points: list[tuple[float, float]] = []
    control = (0.0, 0.0)
    for command, numbers in commands(path):
        if command == "M":
            if points:
                found.append((np.array(points), False))
            points = [(numbers[0], numbers[1])]
        elif command == "z":
            found.append((np.array(points), True))
            points = []
        else:
            at = points[-1]
            if command == "l":
                points.append((at[0] + numbers[0], at[1] + numbers[1]))
                continue
            control = (
                (at[0] + numbers[0], at[1] + numbers[1])
                if command == "q"
                else (2 * at[0] - control[0], 2 * at[1] - control[1])
            )
            end = (at[0] + numbers[-2], at[1] + numbers[-1])
            points += curve(at, control, end, steps)
    if points:
        found.append((np.array(points), False))
    return found


def curve(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float], steps: int
) -> list[tuple[float, float]]:
    """Points of a quadratic curve after its start."""
    return [
        tuple((1 - t) ** 2 * a[k] + 2 * t * (1 - t) * b[k] + t * t * c[k] for k in (0, 1))  # type: ignore[misc]
        for t in (i / steps for i in range(1, steps + 1))
    ]


def commands(path: str) -> list[tuple[str, list[int]]]:
    """Commands with their numbers; a command is repeated while numbers go on. ValueError for any
    other command.
    """
    tokens = TOKEN.findall(path)
    if "".join(tokens) != path.replace(" ", ""):
        raise ValueError(f"not a path of the atlas: {path[:60]}")
    found: list[tuple[str, list[int]]] = []
    index, command = 0, ""
    while index < len(tokens):
        if tokens[index].isalpha():
            command = tokens[index]
            index += 1
        take = TAKES[command]
        found.append((command, [int(token) for token in tokens[index : index + take]]))
        index += take
    return found


def contains(parts: list[tuple[Polygon, bool]], points: Polygon) -> NDArray[np.bool_]:
    """Whether points lie inside a filled path, by the even-odd rule."""
    inside = np.zeros(len(points), dtype=bool)
    for polygon, _ in parts:
        a, b = polygon, np.roll(polygon, -1, axis=0)
        crosses = (a[:, 1] > points[:, 1, None]) != (b[:, 1] > points[:, 1, None])
        with np.errstate(divide="ignore", invalid="ignore"):
            x = a[:, 0] + (points[:, 1, None] - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
        inside ^= (crosses & (points[:, 0, None] < x)).sum(axis=1) % 2 == 1
    return inside


def distance(parts: list[tuple[Polygon, bool]], points: Polygon) -> Polygon:
    """From points to the nearest point of a path's edge, sampled."""
    edge = np.concatenate([polygon for polygon, _ in parts])
    return np.sqrt(((points[:, None] - edge[None]) ** 2).sum(axis=2)).min(axis=1)
