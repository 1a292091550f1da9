"""Digitised landmarks from CSV or C3D: one unit, one side, every frame of the recording."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.measure.motion.c3d_apart import read_apart

CODES = ("IJ", "PX", "C7", "T8", "SC", "AC", "AA", "TS", "AI", "PC", "GH", "EL", "EM", "RS", "US")
MILLIMETRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
COLUMNS = ("frame", "landmark", "x", "y", "z", "unit", "side")


@dataclass(frozen=True)
class Recording:
    """Landmarks of one side over one or more frames, in millimetres: code -> (frames, 3)."""

    side: str
    places: Mapping[str, Array]

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return len(next(iter(self.places.values())))

    def at(self, frame: int) -> dict[str, Array]:
        """The landmarks of one frame as a right side's: a left one is mirrored."""
        found = {code: place[frame] for code, place in self.places.items()}
        seen = {code: place for code, place in found.items() if np.isfinite(place).all()}
        return mirror_landmarks(seen) if self.side == "left" else seen


def mirror_landmarks(places: Mapping[str, Array]) -> dict[str, Array]:
    """A left side as if it were a right one: z to -z.

    Any mirror serves: two mirror images differ by a turn, and joint angles do not see turns.
    """
    flip = np.array([1.0, 1.0, -1.0])
    return {code: place * flip for code, place in places.items()}


def read_landmarks(path: str | Path, *, side: str | None = None) -> Recording:
    """Landmarks from a .csv (frame, landmark, x, y, z, unit, side) or .c3d file.

    Returned in millimetres. In a C3D file the points bear the landmark codes and the side is
    given by the caller. UserError for mixed or missing units, two sides, unknown or repeated
    landmarks, numbers that are none.
    """
    path = Path(path)
    if not path.is_file():
        raise UserError(str(path), "no such file", "a .csv or .c3d file of landmarks")
    if path.suffix.lower() == ".c3d":
        return _from_c3d(path, side)
    return _from_csv(path)


def _from_csv(path: Path) -> Recording:
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            reader = csv.DictReader(file)
            headings = list(reader.fieldnames or ())
            rows = [(f"{path.name}, line {number}", row) for number, row in enumerate(reader, 2)]
    except (UnicodeDecodeError, csv.Error) as error:
        raise UserError(path.name, str(error), "a table as CSV in UTF-8") from None
    if set(COLUMNS) - set(headings):
        raise UserError(f"{path.name}, line 1", ", ".join(headings) or None,
                        f"columns {', '.join(COLUMNS)}")  # fmt: skip
    if not rows:
        raise UserError(path.name, "no rows", "one row for each landmark and frame")
    factor = MILLIMETRES[_only(path, rows, "unit", tuple(MILLIMETRES))]
    side = _only(path, rows, "side", ("left", "right"))
    found = dict(_placed(rows))
    if len(found) != len(rows):
        raise UserError(path.name, "a landmark twice in one frame", "each landmark once")
    frames = sorted({frame for frame, _ in found})
    codes = {code for _, code in found}
    empty = np.full(3, np.nan)
    places = {c: factor * np.array([found.get((f, c), empty) for f in frames]) for c in codes}
    return Recording(side, places)


def _only(
    path: Path, rows: list[tuple[str, dict[str, str]]], name: str, known: tuple[str, ...]
) -> str:
    words = {(row[name] or "").strip() for _, row in rows}
    if len(words) > 1:
        raise UserError(f"{path.name}, column {name}", f"mixed: {', '.join(sorted(words))}",
                        f"one {name} in the whole file")  # fmt: skip
    word = words.pop()
    if word not in known:
        raise UserError(f"{path.name}, column {name}", word or None, f"one of {', '.join(known)}")
    return word


def _placed(rows: list[tuple[str, dict[str, str]]]) -> Iterator[tuple[tuple[int, str], Array]]:
    for where, row in rows:
        code = (row["landmark"] or "").strip()
        if code not in CODES:
            raise UserError(f"{where}, landmark", code or None, f"one of {', '.join(CODES)}")
        try:
            place = np.array([float(row[axis]) for axis in "xyz"])
            frame = int(row["frame"])
        except (TypeError, ValueError):
            raise UserError(where, str([row["frame"], *(row[a] for a in "xyz")]),
                            "a whole frame number and three numbers") from None  # fmt: skip
        yield (frame, code), place


def _from_c3d(path: Path, side: str | None) -> Recording:
    if side not in ("left", "right"):
        raise UserError(path.name, side, 'the side, "left" or "right"')
    read = read_apart(path)
    # A label beyond the points that are there names none of them.
    units, labels = read.units, read.labels[: read.places.shape[1]]
    if len(set(units)) != 1 or units[0] not in MILLIMETRES:
        raise UserError(
            f"{path.name}, POINT:UNITS", ", ".join(units) or None, "mm, cm or m, one for all"
        )
    points = np.where(read.residuals[None] < 0, np.nan, read.places)
    places = {
        code: MILLIMETRES[units[0]] * points[:, labels.index(code), :].T
        for code in CODES
        if code in labels
    }
    if not places:
        raise UserError(f"{path.name}, POINT:LABELS", ", ".join(labels) or None,
                        f"points named {', '.join(CODES)}")  # fmt: skip
    return Recording(side, places)
