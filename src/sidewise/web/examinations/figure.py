"""The figure of one examination: plates with places to press, what was found, and what moved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from urllib.parse import urlencode

from sidewise.figure import Arms, Atlas, Composed, compose
from sidewise.figure.compose import PAIRED, SEEN_FROM, Target
from sidewise.ground.language import say_text
from sidewise.note.figure_marks import found_marks, measured_poses
from sidewise.note.phrases import place_phrase, said_side
from sidewise.protocol import Item, Protocol
from sidewise.protocol.figure import (
    FigureData,
    FigurePlace,
    atlas_of,
    item_choice,
    items_at,
    place_label,
)
from sidewise.web.anatomy.plates import PlateShown, plate_shown
from sidewise.web.anatomy.poses import PoseShown, pose_shown, poses_of
from sidewise.web.examinations.state import Current

LAYERS = ("bones", "superficial", "deep", "nerves")
PEELED = (("bones", "bones", True), ("superficial", "muscles", False),
          ("deep", "deep muscles", False), ("nerves", "nerve areas", False))  # fmt: skip
"""Layers of the bedside: id, name, and whether they are shown at first."""
NARROWEST = {"whole": 300, "close-up": 455}
"""Pixels that a plate is wide on the narrowest page: a phone's, and what a close-up scrolls at."""
FINGER = 24
"""Pixels: the least size of a target (Web Content Accessibility Guidelines 2.2, 2.5.8)."""
BODY = ("front", "back", "right side", "left side")
CLOSE = ("close-up front", "close-up side", "close-up back", "raised armpit")
CLOSE_OF = {"front": "close-up front", "back": "close-up back"}
SIDES = ("right", "left", "midline")


@dataclass(frozen=True, slots=True)
class PlaceLine:
    """A place on one side in the list: what stands there, and where a press on it goes."""

    place: str
    side: str
    label: str
    said: str
    query: str
    here: bool

    @property
    def is_open(self) -> bool:
        """Whether nothing stands there."""
        return not self.said

    @property
    def name(self) -> str:
        """The place with its side and what stands there: its name for a screen reader."""
        found = self.said or say_text("not examined")
        return f"{said_side(self.side, self.label)}: {found}"


@dataclass(frozen=True, slots=True)
class PressedPlace:
    """A place to press on the plate; `reach`: radius of the round that makes it a finger wide."""

    line: PlaceLine
    target: Target
    reach: int


@dataclass(frozen=True, slots=True)
class Zone:
    """One side of a plate of the whole body, which opens its close-up."""

    view: str
    label: str
    query: str
    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class ViewChip:
    """A view to choose."""

    view: str
    label: str
    query: str
    here: bool


@dataclass(frozen=True, slots=True)
class LayerTick:
    """A layer of the plate that can be peeled off."""

    id: str
    label: str
    shown: bool


def opening_view(now: Current) -> str:
    """The view to open with: the side complained of, close by; both, from the front."""
    sides = now.record.context.complaint
    return f"{sides[0]} close-up front" if len(sides) == 1 else "front"


def known_view(now: Current, asked: str) -> str:
    """The view an address names, else the one to open with. An earlier name is understood."""
    if asked == "raised arm":
        sides = now.record.context.complaint
        return f"{'left' if tuple(sides) == ('left',) else 'right'} raised armpit"
    return asked if asked in SEEN_FROM else opening_view(now)


class Drawing:
    """The figure as one request sees it: a plate where the region has an atlas, and its list."""

    def __init__(
        self, now: Current, view: str, spot: FigurePlace | None = None, side: str = "",
        mark: Item | None = None,
    ) -> None:  # fmt: skip
        self.now = now
        self.view = view
        self.spot = spot
        self.side = side
        self.mark = mark
        self.data: FigureData = now.figure

    @cached_property
    def atlas(self) -> Atlas | None:
        """The region's drawings, if there are any."""
        return atlas_of(self.now.region)

    @cached_property
    def plate(self) -> Composed | None:
        """The plate with everything found."""
        if self.atlas is None:
            return None
        marks = found_marks(self.now.record, self.now.region)
        return compose(self.atlas, self.view, layers=LAYERS, marks=marks)

    @property
    def shown(self) -> PlateShown | None:
        """The plate for the page."""
        return plate_shown(self.now.region, self.plate) if self.plate else None

    @property
    def layers(self) -> tuple[LayerTick, ...]:
        """What can be peeled off."""
        return tuple(LayerTick(*one) for one in PEELED)

    @property
    def is_close(self) -> bool:
        """Whether one side is seen close by."""
        return self.view not in BODY

    @property
    def sides(self) -> tuple[str, ...]:
        """The sides the view shows, that on the left of the page first; all where there is none."""
        if self.atlas is None:
            return ("right", "left")
        if self.view in PAIRED:
            return ("left", "right") if self.view == "back" else ("right", "left")
        return (self.view.partition(" ")[0],)

    @property
    def mark_side(self) -> str:
        """Whose side a mark on this plate is where the plate shows one only."""
        return self.sides[0] if len(self.sides) == 1 else ""

    @property
    def line_view(self) -> str:
        """The view, as a place of the record names it, on which a line drawn here belongs."""
        if self.view in BODY:
            return self.view
        side, _, rest = self.view.partition(" ")
        return {"raised armpit": "raised arm", "close-up side": f"{side} side"}.get(
            rest, rest.removeprefix("close-up ")
        )

    @property
    def body_chips(self) -> tuple[ViewChip, ...]:
        """The views of the whole body."""
        return tuple(self._chip(view, view) for view in BODY)

    @property
    def close_chips(self) -> tuple[tuple[str, tuple[ViewChip, ...]], ...]:
        """The close-ups of each side; the side complained of first."""
        first = "left" if tuple(self.now.record.context.complaint) == ("left",) else "right"
        second = "right" if first == "left" else "left"
        return tuple(
            (side, tuple(self._chip(f"{side} {name}", name.removeprefix("close-up "))
                         for name in CLOSE))
            for side in (first, second)
        )  # fmt: skip

    def _chip(self, view: str, label: str) -> ViewChip:
        return ViewChip(view, label, self._query(view=view), view == self.view)

    def _query(self, **fields: str) -> str:
        kept = {"mark": self.mark.id} if self.mark and "spot" not in fields else {}
        return urlencode({**fields, **kept})

    @cached_property
    def targets(self) -> tuple[PressedPlace, ...]:
        """The places wide enough for a finger on the narrowest page, each on its side."""
        if self.plate is None:
            return ()
        kind = "close-up" if self.is_close else "whole"
        reach = FINGER / 2 * self.plate.frame[2] / NARROWEST[kind]
        found = (self._pressed(target, reach) for target in self.plate.targets)
        return tuple(one for one in found if one is not None)

    def _pressed(self, target: Target, reach: float) -> PressedPlace | None:
        place = self.data.place(target.place)
        if place is None or not items_at(place, target.side, self.now.protocol):
            return None
        narrow = target.room < reach
        if narrow and not self.is_close and self._is_close_by(target):
            return None
        line = self._line(place, target.side)
        return PressedPlace(line, target, round(reach) + 1 if narrow else 0)

    def _is_close_by(self, target: Target) -> bool:
        assert self.atlas is not None, "there is no target without an atlas"
        names = [CLOSE_OF.get(self.view, "close-up side")]
        return any(target.place in self.atlas.close_up(name).half.regions for name in names)

    @cached_property
    def zones(self) -> tuple[Zone, ...]:
        """On a plate of the whole body, each side: a press comes closer."""
        if self.plate is None or self.is_close:
            return ()
        return tuple(self._zone(side) for side in self.sides)

    def _zone(self, side: str) -> Zone:
        assert self.atlas is not None, "there is no plate without an atlas"
        name = CLOSE_OF.get(self.view, "close-up side")
        left, top, right, bottom = self.atlas.close_up(name).frame
        # The frame of a close-up runs past the arm; the zone ends a little before it.
        x = -right if side == "left" else left
        view = f"{side} {name}"
        label = f"{side} {self.now.region.label}, closer"
        return Zone(view, label, self._query(view=view), x, top + 60,
                    right - left, (bottom - top) * 0.55)  # fmt: skip

    @cached_property
    def lines(self) -> tuple[PlaceLine, ...]:
        """Every place of this plate as a list; of every side, where there is no plate."""
        if self.plate is None:
            return tuple(
                self._line(place, side)
                for side in SIDES
                for place in self.data.places
                if items_at(place, side, self.now.protocol)
            )
        sides = (*self.sides, "midline")
        on_plate = sorted(self.plate.targets, key=lambda target: sides.index(target.side))
        places = ((self.data.place(target.place), target.side) for target in on_plate)
        return tuple(
            self._line(place, side)
            for place, side in places
            if place and items_at(place, side, self.now.protocol)
        )

    def _line(self, place: FigurePlace, side: str) -> PlaceLine:
        label = place_label(place, self.now.region)
        here = bool(self.spot) and place == self.spot and side == self.side
        query = self._query(view=self.view, spot=place.id, side=side)
        said = "; ".join(self._said(place, side))
        return PlaceLine(place.id, side, label, said, query, here)

    def _said(self, place: FigurePlace, side: str) -> Iterator[str]:
        for item in items_at(place, side, self.now.protocol):
            if item.id not in self.now.held_of:
                continue
            words = place_phrase(self.now.record, item, side)
            if words != say_text("not examined") or (item.id, side) in self._left_open:
                yield words if item.kind("tenderness") else f"{item.label}: {words}"

    @cached_property
    def _left_open(self) -> frozenset[tuple[str, str]]:
        """Places where somebody said that they were not examined."""
        return frozenset((f.item, f.side) for f in self.now.holders.values())

    @property
    def written(self) -> tuple[str, ...]:
        """Everything found, of every view, in words."""
        marks = found_marks(self.now.record, self.now.region)
        return tuple(dict.fromkeys(mark.words for mark in marks if mark.words))


def spot_named(data: FigureData, name: str) -> FigurePlace | None:
    """The place an address names."""
    return data.place(name)


def markers(protocol: Protocol) -> tuple[Item, ...]:
    """The items that take a place on the figure."""
    return tuple(item for item in protocol.items if item.kind("place"))


@dataclass(frozen=True, slots=True)
class FeltPlace:
    """Where an item is felt or seen: a close-up with the place on it."""

    shown: PlateShown
    target: Target
    label: str


def felt_place(now: Current, item: Item) -> FeltPlace | None:
    """The item's place on the plate that shows it best, or None; of the side complained of."""
    atlas = atlas_of(now.region)
    place = next((place for place in now.figure.places if item.id in place.items), None)
    if atlas is None or place is None:
        return None
    side = "left" if tuple(now.record.context.complaint) == ("left",) else "right"
    for view in (*(f"{side} {name}" for name in CLOSE), "front", "back"):
        plate = compose(atlas, view)
        for target in plate.targets:
            if target.place == place.id and target.side in (side, "midline"):
                label = f"{target.label}, seen from {SEEN_FROM[view]}"
                return FeltPlace(plate_shown(now.region, plate), target, label)
    return None


@dataclass(frozen=True, slots=True)
class PosedItem:
    """The posture in which an item is examined, as a small plate."""

    shown: PlateShown
    words: str
    note: str


def posed_item(now: Current, item: Item) -> PosedItem | None:
    """The nearest posture of the atlas, on both sides; None where none is said."""
    atlas, choice = atlas_of(now.region), item_choice(now.region, item.id)
    posture = now.figure.posture(item.id)
    if atlas is None or choice is None or posture is None:
        return None
    seen = now.figure.seen_from[choice.movement]
    view = "right side" if seen == "side" else seen
    plate = compose(atlas, view, Arms(choice, choice))
    return PosedItem(plate_shown(now.region, plate), choice.words, posture.note)


def poses_shown(now: Current) -> tuple[PoseShown, ...]:
    """Every measured movement, drawn."""
    return poses_of(now.record, now.region)


def last_pose(now: Current) -> PoseShown | None:
    """The movement measured last, drawn; None where no movement has a number."""
    poses = {pose.item.id: pose for pose in measured_poses(now.record, now.region)}
    latest = [item for item in now.held_of if item in poses]
    if not latest:
        return None
    order = list(now.holders)
    newest = max(latest, key=lambda item: order.index(now.held_of[item][-1]))
    return pose_shown(poses[newest], now.region)
