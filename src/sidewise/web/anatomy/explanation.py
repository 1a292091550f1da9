"""What the anatomy page explains: a posture, its view, and the structures by layer."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.figure import Arms, Atlas, Choice, Composed, compose
from sidewise.figure.compose import SEEN_FROM
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, protocol_of
from sidewise.protocol.figure import ItemPosture, figure_of

LAYERS = (
    ("superficial", "superficial muscles"),
    ("deep", "deep muscles"),
    ("bones", "bones"),
    ("nerves", "nerve areas"),
    ("landmarks", "landmarks"),
)
"""From the skin inwards, each with its name on the page."""
BODY_VIEWS = ("front", "back", "right side", "left side")


@dataclass(frozen=True, slots=True)
class NamedStructure:
    """One named thing of the figure: its layer, and what is said of it."""

    id: str
    layer: str
    label: str
    lines: tuple[tuple[str, str], ...]

    @property
    def key(self) -> str:
        """A name for ids in the page."""
        return f"{self.layer}-{self.id.replace(' ', '-')}"


@dataclass(frozen=True, slots=True)
class AskedPosture:
    """What the page was asked for, checked: an item or a posture, and a view."""

    item: Item | None
    posture: ItemPosture | None
    choice: Choice
    view: str


def asked_of(region: Region, atlas: Atlas, fields: Mapping[str, str]) -> AskedPosture:
    """What an address asks for; UserError where it names what there is not."""
    item = _item(region, fields.get("item", ""))
    posture = _posture(region, atlas, item, fields)
    choice = (
        atlas.choose(posture.movement, posture.at, hitching=posture.hitching)
        if posture
        else atlas.rest
    )
    seen = figure_of(region).seen_from.get(choice.movement, "front")
    usual = "right side" if seen == "side" else seen
    view = fields.get("view") or usual
    if view not in SEEN_FROM:
        raise UserError("view", view, f"one of {', '.join(SEEN_FROM)}")
    return AskedPosture(item, posture, choice, view)


def _item(region: Region, name: str) -> Item | None:
    if not name:
        return None
    protocol = protocol_of(region)
    if name not in protocol.by_id:
        raise UserError("item", name, "an item of the protocol", "Choose one from the list.")
    return protocol.item(name)


def _posture(
    region: Region, atlas: Atlas, item: Item | None, fields: Mapping[str, str]
) -> ItemPosture | None:
    if item is not None:
        posture = figure_of(region).posture(item.id)
        movement = atlas.items.get(item.id)
        if posture is None and movement is not None:
            return ItemPosture(movement=item.id, at=_middle(atlas, movement.movement))
        return posture
    if movement_asked := fields.get("movement", ""):
        at = fields.get("at", "").strip()
        return ItemPosture(
            movement=movement_asked, at=_number(at), hitching=fields.get("hitching") == "on"
        )
    return None


def _middle(atlas: Atlas, movement: str) -> float | str:
    """A posture that shows the movement well: half-way up its own steps."""
    ats = atlas.movements[movement]
    return ats[len(ats) // 2]


def _number(text: str) -> float | str:
    if not text:
        raise UserError("at", text, "degrees, or a level for a hand behind the back")
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return text


def plate_of(atlas: Atlas, asked: AskedPosture) -> Composed:
    """The plate with every layer; a page shows and hides them."""
    arms = Arms(asked.choice, asked.choice)
    return compose(atlas, asked.view, arms, layers=tuple(name for name, _ in LAYERS))


def structures_of(region: Region, atlas: Atlas) -> tuple[NamedStructure, ...]:
    """Every named structure, layer by layer."""
    muscles = [
        NamedStructure(
            one.id,
            one.layer,
            one.label,
            (("from", one.origin), ("to", one.insertion), ("nerve", one.nerve)),
        )
        for one in atlas.muscles.values()
    ]
    bones = [
        NamedStructure(name, "bones", label, _attached(region, atlas, name))
        for name, label in atlas.bones.items()
        if not name[-1].isdecimal()
    ]
    nerves = [NamedStructure(name, "nerves", label, ()) for name, label in atlas.nerves.items()]
    landmarks = [
        NamedStructure(one.id, "landmarks", one.label, ()) for one in atlas.landmarks.values()
    ]
    order = [name for name, _ in LAYERS]
    every = [*muscles, *bones, *nerves, *landmarks]
    return tuple(sorted(every, key=lambda one: order.index(one.layer)))


def _attached(region: Region, atlas: Atlas, bone: str) -> tuple[tuple[str, str], ...]:
    attachments = figure_of(region).attachments
    names = attachments.bones.get(bone, ()) if attachments else ()
    words = ", ".join(atlas.muscles[name].label for name in names)
    return (("muscles", words),) if words else ()


def posed_items(region: Region) -> tuple[Item, ...]:
    """Items with a posture of the atlas, in the protocol's order."""
    data = figure_of(region)
    named = set(data.postures.items) if data.postures else set()
    return tuple(item for item in protocol_of(region).items if item.id in named)
