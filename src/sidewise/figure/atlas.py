"""An atlas read from a folder of JSON files: what is drawn, what it is called, which postures
there are.

Lengths are whole units of the drawing, half a millimetre each; x runs to the right of the page and
y down, with x = 0 on the body's midline in front and back views. The right side is stored; the left
is its mirror image.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from sidewise.errors import UserError
from sidewise.figure.choose import REST, Asked, Choice, chosen

Named = tuple[str, str, str]
"""Name, area and inner lines of a bone or muscle, as SVG path commands."""


@dataclass(frozen=True, slots=True)
class Muscle:
    """What a muscle is called and what is said of it when it is pressed."""

    id: str
    label: str
    layer: str
    structure: str
    origin: str
    insertion: str
    nerve: str


@dataclass(frozen=True, slots=True)
class Place:
    """A place to press, or a landmark: what it is called and which structures of the region it
    belongs to.
    """

    id: str
    label: str
    structures: tuple[str, ...]
    middle: bool = False


@dataclass(frozen=True, slots=True)
class Pressed:
    """A place on one plate: its closed path, its best point, and the room round that point
    (units).
    """

    path: str
    at: tuple[int, int]
    room: int


@dataclass(frozen=True, slots=True)
class Half:
    """The drawing of one posture from one side: the right half of the body, or all of it from the
    side.

    `felt`: those of the landmarks that lie near the skin on the side one looks at.
    """

    at: float | str
    box: tuple[int, int, int, int]
    fill: str
    outline: str
    crease: str
    under: tuple[Named, ...]
    over: tuple[Named, ...]
    superficial: tuple[Named, ...]
    deep: tuple[Named, ...]
    nerves: tuple[tuple[str, str], ...]
    landmarks: dict[str, tuple[int, int]]
    felt: frozenset[str]
    regions: dict[str, Pressed]


@dataclass(frozen=True, slots=True)
class Trunk:
    """Bones that do not move: those of the right side, and those of the midline."""

    half: tuple[tuple[str, str], ...]
    middle: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class CloseUp:
    """A plate of one side with a frame of its own: left, top, right, bottom."""

    half: Half
    trunk: Trunk
    frame: tuple[int, int, int, int]


@dataclass(frozen=True, slots=True)
class Atlas:
    """Everything that can be drawn of a region."""

    folder: Path
    views: tuple[str, ...]
    close_ups: tuple[str, ...]
    movements: dict[str, tuple[float | str, ...]]
    items: dict[str, Asked]
    bones: dict[str, str]
    muscles: dict[str, Muscle]
    nerves: dict[str, str]
    landmarks: dict[str, Place]
    places: dict[str, Place]
    credits: tuple[str, ...] = field(default=())

    def __repr__(self) -> str:
        count = sum(len(ats) for ats in self.movements.values())
        return f"Atlas({count} postures, {len(self.views)} views, {len(self.close_ups)} close-ups)"

    def __hash__(self) -> int:
        return hash(self.folder)

    def choose(self, movement: str, at: float | str, *, hitching: bool = False) -> Choice:
        """The posture nearest to a movement's angle (degrees) or level.

        `movement` is one of the atlas or an item that `items` maps to one. UserError where
        neither is known.
        """
        asked = self.items.get(movement, Asked(movement, movement, 1.0))
        if asked.movement not in self.movements:
            raise UserError(
                "movement", movement, f"one of {', '.join(sorted({*self.movements, *self.items}))}"
            )
        return chosen(self.movements, asked, at, hitching=hitching)

    @property
    def rest(self) -> Choice:
        """The arm hanging."""
        return REST

    def half(self, view: str, choice: Choice) -> Half:
        """The drawing of a posture from a view; UserError where the view is not one of the
        atlas.
        """
        if view not in self.views:
            raise UserError("view", view, f"one of {', '.join(self.views)}")
        return _halves(self.folder / f"{view}-{file_part(choice.drawn)}.json")[choice.shown]

    def trunk(self, view: str) -> Trunk:
        """The bones that do not move, from a view."""
        return _trunk(_record(self.folder / f"trunk-{view}.json"))

    def close_up(self, name: str) -> CloseUp:
        """A plate of one side; UserError where there is none of that name."""
        if name not in self.close_ups:
            raise UserError("view", name, f"one of {', '.join(self.close_ups)}")
        return _close_up(self.folder / f"{file_part(name)}.json")


def has_atlas(folder: Path) -> bool:
    """Whether a folder holds an atlas; a region without one shows its list alone."""
    return (folder / "index.json").exists()


def load_atlas(folder: Path) -> Atlas:
    """The atlas of a folder. UserError where there is none, or where its index does not hold what
    it must.
    """
    if not has_atlas(folder):
        raise UserError(
            "atlas", folder.name, "a folder with an index.json", "Show the list of places alone."
        )
    index = _record(folder / "index.json")
    try:
        return _atlas(folder, index)
    except (KeyError, TypeError, ValueError) as error:
        raise UserError(
            f"{folder.name}/index.json", str(error), "every part of an atlas's index"
        ) from error


def file_part(name: str) -> str:
    """A name as it stands in a file's name."""
    return name.replace(", ", "-").replace(" ", "-")


def _atlas(folder: Path, index: dict[str, Any]) -> Atlas:
    return Atlas(
        folder=folder,
        views=tuple(index["views"]),
        close_ups=tuple(index["close_ups"]),
        movements={name: tuple(ats) for name, ats in index["movements"].items()},
        items={
            name: Asked(movement, label, float(sign))
            for name, (movement, label, sign) in index["items"].items()
        },
        bones=dict(index["bones"]),
        muscles={name: Muscle(id=name, **said) for name, said in index["muscles"].items()},
        nerves=dict(index["nerves"]),
        landmarks={name: _place(name, said) for name, said in index["landmarks"].items()},
        places={name: _place(name, said) for name, said in index["places"].items()},
        credits=tuple(index["credits"]),
    )


def _place(name: str, said: dict[str, Any]) -> Place:
    return Place(name, said["label"], tuple(said["structures"]), bool(said.get("middle", False)))


@lru_cache(maxsize=64)
def _record(path: Path) -> dict[str, Any]:
    try:
        found: dict[str, Any] = json.loads(path.read_text(encoding="ascii"))
    except (OSError, ValueError) as error:
        raise UserError(
            path.name, str(error), "a file of the atlas", "Draw the atlas anew."
        ) from error
    return found


@lru_cache(maxsize=64)
def _halves(path: Path) -> dict[float | str, Half]:
    return {plate["at"]: _half(plate) for plate in _record(path)["plates"]}


@lru_cache(maxsize=8)
def _close_up(path: Path) -> CloseUp:
    record = _record(path)
    return CloseUp(_half({"at": 0.0, **record}), _trunk(record["trunk"]), tuple(record["frame"]))


def _half(plate: dict[str, Any]) -> Half:
    return Half(
        at=plate["at"],
        box=tuple(plate["box"]),
        fill=plate["fill"],
        outline=plate["outline"],
        crease=plate["crease"],
        under=_triples(plate["under"]),
        over=_triples(plate["over"]),
        superficial=_triples(plate["superficial"]),
        deep=_triples(plate["deep"]),
        nerves=tuple((name, path) for name, path in plate["nerves"]),
        landmarks={name: (x, y) for name, (x, y, _) in plate["landmarks"].items()},
        felt=frozenset(name for name, (_, _, near) in plate["landmarks"].items() if near),
        regions={name: _pressed(region) for name, region in plate.get("regions", {}).items()},
    )


def _pressed(region: dict[str, Any]) -> Pressed:
    return Pressed(region["path"], tuple(region["at"]), region["room"])


def _triples(rows: list[list[str]]) -> tuple[Named, ...]:
    return tuple((name, area, lines) for name, area, lines in rows)


def _trunk(record: dict[str, Any]) -> Trunk:
    return Trunk(
        *(tuple((name, path) for name, path in record[part]) for part in ("half", "middle"))
    )
