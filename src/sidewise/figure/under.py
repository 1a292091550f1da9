"""What lies under a point of a plate, and how far the nearest things are: for a finger, and for
whoever practises finding landmarks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import hypot

from sidewise.errors import UserError
from sidewise.figure.atlas import Atlas, Half
from sidewise.figure.compose import HANGING, SEEN_FROM, Arms, halves_of
from sidewise.figure.paths import distance

UNITS_PER_MM = 2.0
KINDS = ("place", "landmark", "superficial", "deep", "bone", "nerve")


@dataclass(frozen=True, slots=True)
class Near:
    """Something near a point of a plate.

    mm: along the page, at the size of the body of the atlas; 0 where the point lies upon it.
    structures: those of the region it belongs to.
    """

    kind: str
    id: str
    label: str
    side: str
    structures: tuple[str, ...]
    mm: float


def structures_at(
    atlas: Atlas,
    view: str,
    x: float,
    y: float,
    *,
    arms: Arms = HANGING,
    kinds: tuple[str, ...] = KINDS,
    within_mm: float = 30.0,
) -> tuple[Near, ...]:
    """What lies under a point of a plate (half-millimetres of the page), the nearest first.

    A distance on the page is not a distance in depth: a bone under the point may lie under
    muscle, and its label says only what is there. Only places of the posture drawn are known;
    most postures have landmarks and no places to press. UserError where the view or a kind is
    unknown.
    """
    if view not in SEEN_FROM:
        raise UserError("view", view, f"one of {', '.join(SEEN_FROM)}")
    for kind in kinds:
        if kind not in KINDS:
            raise UserError("kind", kind, f"one of {', '.join(KINDS)}")
    found = [
        near
        for side, half, mirrored in halves_of(atlas, view, arms)
        for near in _of_half(atlas, half, side, -x if mirrored else x, y)
        if near.kind in kinds and near.mm <= within_mm
    ]
    return tuple(sorted(_once(found), key=lambda near: (near.mm, KINDS.index(near.kind), near.id)))


def _once(found: list[Near]) -> Iterator[Near]:
    """Each thing once: a bone is drawn behind and before the ribs, the midline on both halves."""
    nearest: dict[tuple[str, str, str], Near] = {}
    for near in found:
        key = (near.kind, near.id, near.side)
        if key not in nearest or near.mm < nearest[key].mm:
            nearest[key] = near
    yield from nearest.values()


def _of_half(atlas: Atlas, half: Half, side: str, x: float, y: float) -> Iterator[Near]:
    for name, pressed in half.regions.items():
        place = atlas.places[name]
        whose = "midline" if place.middle else side
        mm = distance(pressed.path, x, y) / UNITS_PER_MM
        yield Near("place", name, place.label, whose, place.structures, mm)
    for name, (at_x, at_y) in half.landmarks.items():
        landmark = atlas.landmarks[name]
        mm = hypot(x - at_x, y - at_y) / UNITS_PER_MM
        yield Near("landmark", name, landmark.label, side, landmark.structures, mm)
    for layer, rows in (("superficial", half.superficial), ("deep", half.deep)):
        for name, path, _ in rows:
            muscle = atlas.muscles[name]
            mm = distance(path, x, y) / UNITS_PER_MM
            yield Near(layer, name, muscle.label, side, (muscle.structure,), mm)
    for name, path, _ in (*half.under, *half.over):
        yield Near("bone", name, atlas.bones[name], side, (), distance(path, x, y) / UNITS_PER_MM)
    for name, path in half.nerves:
        label = atlas.nerves[name]
        yield Near("nerve", name, label, side, (), distance(path, x, y) / UNITS_PER_MM)
