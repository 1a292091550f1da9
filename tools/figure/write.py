"""The atlas as files: what does not move once for each view, the right arm once for each
posture.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from functools import lru_cache
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from tools.figure import source
from tools.figure.body import Figure, Posed
from tools.figure.chain import Posture
from tools.figure.drawn import Drawn
from tools.figure.index import index
from tools.figure.mesh import Points
from tools.figure.parts import PARTS
from tools.figure.plate import HALVES, LOWEST, VIEWS, Plate
from tools.figure.poses import ARMPIT, Pose, poses
from tools.figure.raster import View, Window, picture
from tools.figure.regions import regions
from tools.figure.trace import UNITS, area, boundary, closed_path

Record = dict[str, Any]
CLOSE_DOT = 0.0004
"""Metres per dot of a close-up."""
REST_DOT = 0.0008
DOT = 0.001
"""The same of plates of the body: the hanging arm, which is pressed, and the others."""
REST = Pose("rest", 0.0, next(poses()).posture)


def armpit_view() -> View:
    """From the front, a third of the way to the side, and a little from below."""
    toward = np.array([-0.55, -0.80, -0.22])
    toward /= np.linalg.norm(toward)
    right = np.cross([0, 0, 1], toward)
    right /= np.linalg.norm(right)
    up = np.cross(toward, right)
    return View(tuple(right.tolist()), tuple(up.tolist()), tuple(toward.tolist()))


CLOSE_UPS: dict[str, tuple[View, Window, bool, Pose]] = {
    "close-up front": (
        VIEWS["front"],
        Window(-0.262, -0.615, -0.004, -0.36, CLOSE_DOT),
        True,
        REST,
    ),
    "close-up back": (VIEWS["back"], Window(0.012, -0.615, 0.270, -0.335, CLOSE_DOT), True, REST),
    "close-up side": (VIEWS["side"], Window(-0.135, -0.620, 0.115, -0.345, CLOSE_DOT), False, REST),
    "raised armpit": (
        armpit_view(),
        Window(-0.33, -0.72, 0.03, -0.34, CLOSE_DOT),
        False,
        Pose("armpit", 0.0, ARMPIT),
    ),
}
"""View, window, whether only the right half is drawn, and posture. Windows are 5 mm wider than
what is shown.
"""


@lru_cache(maxsize=1)
def figure() -> Figure:
    """Skin and bones, read once."""
    return Figure(source.bones(), source.skin())


def window_of(drawn: Drawn, view: View, half: bool, dot: float) -> Window:
    """Large enough for the right half and the arm."""
    parts = [mesh.points[np.unique(mesh.faces)] for mesh in drawn.skin_parts]
    points = np.concatenate([parts[0][parts[0][:, 0] < 0.03] if half else parts[0], parts[1]])
    page = view.page(points)
    low, high = page.min(axis=0) - 0.01, page.max(axis=0) + 0.01
    return Window(float(low[0]), float(low[1]), float(high[0]), -LOWEST, dot)


@lru_cache(maxsize=4)
def drawn_of(posture: Posture) -> Drawn:
    """A posture, kept for its other views."""
    return Drawn(Posed(figure(), posture))


def plate_of(pose: Pose, view: str, dot: float) -> Plate:
    """A whole-body plate."""
    drawn = drawn_of(pose.posture)
    return Plate(
        drawn, VIEWS[view], window_of(drawn, VIEWS[view], view in HALVES, dot), view in HALVES, view
    )


def close_up(name: str) -> Plate:
    """A plate of one shoulder."""
    view, window, half, pose = CLOSE_UPS[name]
    drawn = Drawn(Posed(figure(), pose.posture))
    return Plate(drawn, view, window, half, name)


def recorded(plate: Plate, *, pressed: bool) -> Record:
    """A plate as plain data."""
    bones = {name: plate.bone(name) for name in PARTS}
    behind = [name for name in PARTS if plate.behind(name)]
    found: Record = {
        "box": box(plate),
        "fill": plate.fill(),
        "outline": plate.outline(),
        "crease": plate.creases(),
        "under": [bones[name] for name in PARTS if name in behind],
        "over": [bones[name] for name in PARTS if name not in behind],
        "superficial": plate.muscles("superficial"),
        "deep": plate.muscles("deep"),
        "nerves": plate.nerve_areas(),
        "landmarks": {
            name: [*in_units(point), int(near)]
            for name, (point, near) in plate.landmarks().items()
            if within(plate, point)
        },
    }
    if pressed:
        found["regions"] = {
            name: {"path": path, "at": in_units(np.array(best)), "room": int(room * UNITS)}
            for name, (path, best, room) in regions(plate).items()
        }
    return found


def within(plate: Plate, point: Points) -> bool:
    """Whether a point lies in the plate's window."""
    w = plate.window
    return bool(w.left < point[0] < w.right and w.top < point[1] < w.bottom)


def in_units(point: Points) -> list[int]:
    """Page metres as whole half-millimetres."""
    return [round(float(value) * UNITS) for value in point]


def box(plate: Plate) -> list[int]:
    """Left, top, right and bottom of what is drawn, half-millimetres."""
    shape = plate.shape & plate.mine
    rows, columns = np.flatnonzero(shape.any(axis=1)), np.flatnonzero(shape.any(axis=0))
    corners = plate.window.page(np.array([[columns[0], rows[0]], [columns[-1] + 1, rows[-1] + 1]]))
    return [*in_units(corners[0]), *in_units(corners[1])]


def trunk_of(plate: Plate) -> Record:
    """Bones that do not move: `half` those of the right side, `middle` those of the midline."""
    bones = plate.figure.trunk
    names = list(bones)
    found = picture([bones[name] for name in names], plate.view, plate.window)
    record: Record = {"half": [], "middle": []}
    for number, name in enumerate(names):
        if plate.half and name.startswith("left"):
            continue
        lines = boundary(found.part == number, plate.window, closed=True)
        path = "".join(closed_path(line, 0.0005) for line in lines if area(line) > 2e-5)
        if path:
            paired = plate.half and "rib" in name
            record["half" if paired else "middle"].append([name.removeprefix("left "), path])
    return record


def trunk_plate(view: str) -> Plate:
    """A window wide enough for both sides' ribs."""
    drawn = Drawn(Posed(figure(), REST.posture))
    return Plate(
        drawn, VIEWS[view], Window(-0.25, -0.75, 0.25, -LOWEST, 0.0008), view in HALVES, view
    )


def jobs() -> Iterator[tuple[str, str]]:
    """What is drawn in one go: its kind and its name."""
    yield "index", ""
    yield "trunk", ""
    for name in CLOSE_UPS:
        yield "close-up", name
    for movement in dict.fromkeys(pose.movement for pose in poses()):
        yield "movement", movement


def file_part(name: str) -> str:
    """A name as it stands in a file's name."""
    return name.replace(", ", "-").replace(" ", "-")


def contents(kind: str, name: str) -> dict[str, Record]:
    """Files of the atlas, by name, and what each holds."""
    if kind == "index":
        return {"index.json": index()}
    if kind == "trunk":
        return {f"trunk-{view}.json": trunk_of(trunk_plate(view)) for view in VIEWS}
    if kind == "close-up":
        plate = close_up(name)
        record = {
            **recorded(plate, pressed=True),
            "trunk": trunk_of(plate),
            "frame": frame(plate.window),
        }
        return {f"{file_part(name)}.json": record}
    found: dict[str, Record] = {
        f"{view}-{file_part(name)}.json": {"view": view, "movement": name, "plates": []}
        for view in VIEWS
    }
    rest = name == "rest"
    # A posture is worked out once and looked at from every side.
    for pose in (pose for pose in poses() if pose.movement == name):
        for view in VIEWS:
            plate = plate_of(pose, view, REST_DOT if rest else DOT)
            found[f"{view}-{file_part(name)}.json"]["plates"].append(
                {"at": pose.at, **recorded(plate, pressed=rest)}
            )
    return found


def frame(window: Window) -> list[int]:
    """What is shown of a close-up: its window less 5 mm on each side."""
    corners = np.array(
        [[window.left + 0.005, window.top + 0.005], [window.right - 0.005, window.bottom - 0.005]]
    )
    return [*in_units(corners[0]), *in_units(corners[1])]


def text(record: Record) -> str:
    """The same bytes for the same record."""
    return json.dumps(record, ensure_ascii=True, separators=(",", ":"), sort_keys=True) + "\n"


def make(job: tuple[str, str, str]) -> list[tuple[str, int]]:
    """Writes the files of one job; their names and sizes."""
    kind, what, folder = job
    sizes = []
    for name, record in contents(kind, what).items():
        written = text(record)
        (Path(folder) / name).write_text(written, encoding="ascii")
        sizes.append((name, len(written)))
    return sizes


def build(folder: Path, only: str = "", processes: int = 2) -> Iterator[tuple[str, int]]:
    """Writes the files of the jobs whose kind or name contains `only`."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = [(kind, name, str(folder)) for kind, name in jobs() if only in f"{kind} {name}"]
    with get_context("spawn").Pool(processes) as pool:
        for sizes in pool.imap_unordered(make, chosen, chunksize=1):
            yield from sizes
