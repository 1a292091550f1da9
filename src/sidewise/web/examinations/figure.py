"""The figure: our own drawing by view, its spots as targets, and what was found drawn on it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from pydantic import Field, model_validator

from sidewise.note.phrases import place_phrase
from sidewise.protocol import Item, Protocol, load_protocol
from sidewise.protocol.kinds import Frozen
from sidewise.protocol.loader import read_yaml, region_folder, validated
from sidewise.web.examinations.state import Current

RADIUS = 13
"""Of a target; a unit of the drawing is never smaller than a pixel, so it is 24 px and more."""
RING = (0, 5, 8, 11)
"""Radius of the ring by grade of tenderness."""
OTHER = {"left": "right", "right": "left"}


class View(Frozen):
    """One drawing. `page_left`: whose side is on the left of the page."""

    name: str
    page_left: str
    width: float
    height: float
    one_sided: bool = False
    mirrored: bool = False
    middle: tuple[str, ...] = ()
    half: tuple[str, ...] = ()
    bone: tuple[str, ...] = ()
    soft: tuple[str, ...] = ()


class Spot(Frozen):
    """A place that can be touched, and the items that speak of it."""

    id: str
    items: tuple[str, ...] = Field(min_length=1)
    at: dict[str, tuple[float, float]]
    middle: bool = False


class FigureData(Frozen):
    """The figure of a region."""

    views: tuple[View, ...]
    spots: tuple[Spot, ...]

    @model_validator(mode="after")
    def _views_known(self) -> FigureData:
        names = {view.name for view in self.views}
        for spot in self.spots:
            if unknown := set(spot.at) - names:
                raise ValueError(f"spot {spot.id}: unknown views {sorted(unknown)}")
        return self


@lru_cache(maxsize=8)
def load_figure(region: str) -> FigureData:
    """The figure of a region, checked against its protocol; empty where a region has none."""
    path = region_folder(region) / "figure.yaml"
    if not path.exists():
        return FigureData(views=(), spots=())
    data: FigureData = validated(FigureData, read_yaml(path), path.name)
    protocol = load_protocol(region)
    for spot in data.spots:
        for name in spot.items:
            protocol.item(name)
    return data


@dataclass(frozen=True, slots=True)
class Target:
    """One spot on one side of one view, with what stands there."""

    spot: str
    side: str
    x: float
    y: float
    label: str
    ring: int
    familiar: bool
    swollen: bool
    letter: str

    @property
    def found(self) -> bool:
        """Whether anything abnormal is drawn here."""
        return bool(self.ring or self.swollen)

    @property
    def corner(self) -> tuple[float, float]:
        """Top left of a square of the target's size around it."""
        return self.x - RADIUS, self.y - RADIUS


@dataclass(frozen=True, slots=True)
class PlaceMark:
    """A place marked freely: a scar, a swelling, the pain."""

    x: float
    y: float
    dashed: bool
    words: str
    letter: str


class Drawing:
    """One view with everything found on it."""

    def __init__(self, now: Current, view: View) -> None:
        self.now = now
        self.view = view
        self.data = load_figure(now.record.region)
        self.radius = RADIUS

    @property
    def sides(self) -> list[str]:
        """Which sides the view shows, the one on the left of the page first."""
        first = self.view.page_left
        return [first] if self.view.one_sided else [first, OTHER[first]]

    @property
    def targets(self) -> list[Target]:
        """Every spot of this view, on each side it shows."""
        return [t for spot in self.data.spots for t in self._targets(spot)]

    def _targets(self, spot: Spot) -> Iterator[Target]:
        # The left side is the right side's drawing seen in a mirror.
        name = "right side" if self.view.mirrored else self.view.name
        if name not in spot.at:
            return
        x, y = spot.at[name]
        if spot.middle:
            yield self._target(spot, "midline", x, y)
            return
        for side in self.sides:
            flip = self.view.mirrored or (side != self.view.page_left)
            yield self._target(spot, side, self.view.width - x if flip else x, y)

    def _target(self, spot: Spot, side: str, x: float, y: float) -> Target:
        tender = next((v for v in self._values(spot, side) if v.kind == "tenderness"), None)
        swollen = any(self._swollen(spot, side))
        grade = tender.grade if tender else 0
        return Target(spot.id, side, x, y, self._said(spot, side), RING[grade],
                      bool(tender and tender.familiar), swollen, side[0].upper())  # fmt: skip

    def _items(self, spot: Spot, side: str) -> Iterator[Item]:
        paired = side != "midline"
        items = (self.now.protocol.item(name) for name in spot.items)
        return (item for item in items if item.paired == paired)

    def _values(self, spot: Spot, side: str) -> Iterator[Any]:
        for item in self._items(spot, side):
            yield from (f.value for f in self.now.record.examined(item.id, side))

    def _swollen(self, spot: Spot, side: str) -> Iterator[bool]:
        for item in self._items(spot, side):
            kind = item.kind("sign")
            for finding in self.now.record.examined(item.id, side):
                if finding.value and finding.value.kind == "sign" and kind:
                    yield "swelling" in item.label and finding.value.grade != kind.grades[0]  # type: ignore[union-attr]

    def _said(self, spot: Spot, side: str) -> str:
        items = list(self._items(spot, side))
        head = items[0].label if side == "midline" else f"{side} {items[0].label}"
        said = [self._phrase(item, side) for item in items]
        known = [words for words in said if words]
        return f"{head}: {', '.join(known)}" if known else f"{head}: not examined"

    def _phrase(self, item: Item, side: str) -> str:
        words = place_phrase(self.now.record, item, side)
        if words == "not examined" and not any(
            f.item == item.id for f in self.now.holders.values()
        ):
            return ""
        return words if item.kind("tenderness") else f"{item.label} {words}"

    @property
    def marks(self) -> list[PlaceMark]:
        """Places marked freely on this view."""
        found = (
            (f, f.value) for f in self.now.record.findings if f.value and f.value.kind == "place"
        )
        return [
            PlaceMark(v.x * self.view.width, v.y * self.view.height, "scar" in v.what,
                      f"{f.side} {v.what}", f.side[0].upper())
            for f, v in found if v.view == self.view.name and v.x is not None and v.y is not None
        ]  # fmt: skip

    @property
    def written(self) -> list[str]:
        """The same in words: everything found at the spots of every view, and every mark."""
        return list(dict.fromkeys([*self._found_words(), *self._mark_words()]))

    def _found_words(self) -> Iterator[str]:
        for view in self.data.views:
            for target in (
                Drawing(self.now, view).targets if view.name != self.view.name else self.targets
            ):
                if target.found:
                    yield target.label

    def _mark_words(self) -> Iterator[str]:
        for finding in self.now.record.findings:
            if finding.value and finding.value.kind == "place":
                where = finding.value.structure or finding.value.view or "place not stated"
                yield f"{finding.side} {finding.value.what}: {where}"


def view_named(data: FigureData, name: str) -> View | None:
    """The view an address names, else the first; None where there is no figure."""
    return next((v for v in data.views if v.name == name), data.views[0] if data.views else None)


def spot_named(data: FigureData, name: str) -> Spot | None:
    """The spot an address names."""
    return next((spot for spot in data.spots if spot.id == name), None)


def markers(protocol: Protocol) -> tuple[Item, ...]:
    """The items that take a place on the figure."""
    return tuple(item for item in protocol.items if item.kind("place"))


@dataclass(frozen=True, slots=True)
class Place:
    """Where an item is felt or seen, for the picture beside its instruction."""

    view: View
    x: float
    y: float
    middle: bool


def place_of(region: str, item: Item) -> Place | None:
    """The item's place on the first view that shows it, or None."""
    data = load_figure(region)
    for spot in data.spots:
        for view in data.views:
            if item.id in spot.items and view.name in spot.at:
                x, y = spot.at[view.name]
                return Place(view, x, y, spot.middle)
    return None
