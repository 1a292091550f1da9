"""The figure of a region: its places with the items that speak of them, and how it poses.

The drawings are an atlas beside the region; a region may have places and no atlas.
"""

from __future__ import annotations

from math import hypot

from pydantic import Field

from sidewise.errors import UserError
from sidewise.figure import MARK_KINDS, Atlas, Choice, has_atlas, load_atlas
from sidewise.ground.frozen import Frozen
from sidewise.ground.provenance import Provenance
from sidewise.ground.validation import validate_model
from sidewise.knowledge.manifest import ATLAS
from sidewise.knowledge.region import Region
from sidewise.protocol.loader import protocol_of
from sidewise.protocol.model import Item, Protocol

SEEN = ("front", "back", "side")
PAIRED_EARLIER = ("front", "back", "raised arm")
"""Views of the earlier drawing that showed both sides."""


class FigurePlace(Frozen):
    """A place that can be pressed, and the items that speak of it, each with its sign."""

    id: str
    items: dict[str, str] = Field(min_length=1)


class ItemPosture(Frozen):
    """The posture of the atlas nearest to that of an item; `note`: what it lacks."""

    movement: str
    at: float | str
    hitching: bool = False
    note: str = ""


class Postures(Frozen):
    """The postures of items, and how we have them."""

    basis: Provenance
    items: dict[str, ItemPosture]


class Attachments(Frozen):
    """The muscles of the atlas by the bone of the atlas they are attached to."""

    basis: Provenance
    bones: dict[str, tuple[str, ...]]


class FigureData(Frozen):
    """The figure of a region.

    marks: the sign of what is drawn with the finger, by item. seen_from: the view of each movement.
    hitching: the words of an item's value that mean a hitching blade. earlier: by view, where the
    places stood on the drawing used before there was an atlas.
    """

    places: tuple[FigurePlace, ...] = ()
    marks: dict[str, str] = Field(default_factory=dict)
    seen_from: dict[str, str] = Field(default_factory=dict)
    hitching: dict[str, tuple[str, ...]] = Field(default_factory=dict)
    postures: Postures | None = None
    attachments: Attachments | None = None
    earlier: dict[str, dict[str, tuple[float, float]]] = Field(default_factory=dict)

    def posture(self, item: str) -> ItemPosture | None:
        """The posture in which an item is examined, as far as the atlas has it."""
        return self.postures.items.get(item) if self.postures else None

    def earlier_place(self, view: str, x: float, y: float) -> FigurePlace | None:
        """The place nearest to a mark on the drawing used earlier (shares of width and height)."""
        mirror = "right side" if view == "left side" else ""
        known = self.earlier.get(mirror or view, {})
        folded = 1 - x if mirror or (view in PAIRED_EARLIER and x > 0.5) else x
        nearest = min(
            known, key=lambda id: hypot(known[id][0] - folded, known[id][1] - y), default=""
        )
        return self.place(nearest)

    def place(self, id: str) -> FigurePlace | None:
        """The place of this name."""
        return next((place for place in self.places if place.id == id), None)


def figure_of(region: Region) -> FigureData:
    """The figure of a region, checked against its protocol; empty where a region has none."""
    return region.view(_figure)


def atlas_of(region: Region) -> Atlas | None:
    """The drawings of a region, or None: it then has the list of its places alone."""
    return region.view(_atlas)


def items_at(place: FigurePlace, side: str, protocol: Protocol) -> tuple[Item, ...]:
    """The items of a place that are examined on this side ("midline" for those not paired)."""
    items = (protocol.item(name) for name in place.items)
    return tuple(item for item in items if item.paired == (side != "midline"))


def place_label(place: FigurePlace, region: Region) -> str:
    """What a place is called: by the atlas, else by its first item."""
    atlas = atlas_of(region)
    if atlas is not None:
        return atlas.places[place.id].label
    return protocol_of(region).item(next(iter(place.items))).label


def item_choice(region: Region, item: str) -> Choice | None:
    """The posture of the atlas for an item, or None where it has none."""
    atlas, posture = atlas_of(region), figure_of(region).posture(item)
    if atlas is None or posture is None:
        return None
    return atlas.choose(posture.movement, posture.at, hitching=posture.hitching)


def _atlas(region: Region) -> Atlas | None:
    folder = region.folder / ATLAS
    return load_atlas(folder) if has_atlas(folder) else None


def _figure(region: Region) -> FigureData:
    if not region.has("figure"):
        return FigureData()
    data = validate_model(FigureData, region.part("figure"), "figure.yaml")
    protocol = protocol_of(region)
    for place in data.places:
        _check_place(place, protocol)
    for item in (*data.marks, *data.hitching, *(data.postures.items if data.postures else ())):
        protocol.item(item)
    for item, kind in data.marks.items():
        _check_sign(f"marks.{item}", kind)
    ids = tuple(place.id for place in data.places)
    for view, known in data.earlier.items():
        for id in known:
            _check_among(f"earlier.{view}", id, ids)
    for movement, seen in data.seen_from.items():
        _check_among(f"seen_from.{movement}", seen, SEEN)
    atlas = atlas_of(region)
    if atlas is not None:
        _check_atlas(data, atlas)
    return data


def _check_place(place: FigurePlace, protocol: Protocol) -> None:
    for item, kind in place.items.items():
        protocol.item(item)
        _check_sign(f"places.{place.id}.{item}", kind)


def _check_sign(where: str, kind: str) -> None:
    _check_among(where, kind, tuple(kind for kind in MARK_KINDS if kind != "normal"))


def _check_atlas(data: FigureData, atlas: Atlas) -> None:
    for place in data.places:
        _check_among(f"places.{place.id}", place.id, tuple(sorted(atlas.places)))
    movements = {name.partition(",")[0] for name in atlas.movements} - {"rest"}
    for movement in sorted(movements):
        _check_among("seen_from", movement, tuple(data.seen_from))
    for bone, muscles in data.attachments.bones.items() if data.attachments else ():
        _check_among("attachments", bone, tuple(sorted(atlas.bones)))
        for muscle in muscles:
            _check_among(f"attachments.{bone}", muscle, tuple(sorted(atlas.muscles)))
    for posture in data.postures.items.values() if data.postures else ():
        atlas.choose(posture.movement, posture.at, hitching=posture.hitching)


def _check_among(where: str, got: str, known: tuple[str, ...]) -> None:
    if got not in known:
        raise UserError(f"figure.yaml: {where}", got, f"one of {', '.join(known)}")
