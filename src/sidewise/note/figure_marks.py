"""What was found, as signs on the figure; and how the arms moved, as postures of the figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.figure import Arms, Atlas, Choice, Mark
from sidewise.figure.marks import line_points, middle_of
from sidewise.ground.language import in_english
from sidewise.kinds.choice import ChoiceValue
from sidewise.kinds.place import PlaceValue
from sidewise.kinds.tenderness import Tenderness
from sidewise.knowledge.region import Region
from sidewise.measure.sides.readings import Measurement, measurements
from sidewise.note.phrases import place_phrase
from sidewise.protocol import Item, protocol_of
from sidewise.protocol.figure import (
    FigureData,
    FigurePlace,
    atlas_of,
    figure_of,
    items_at,
    place_label,
)
from sidewise.record import Finding, Record, is_normal

EARLIER = "marked on the drawing used earlier"
SIDES = ("right", "left", "midline")


@in_english
def found_marks(record: Record, region: Region) -> tuple[Mark, ...]:
    """A sign for everything abnormal at a place and for what was drawn; a level line where
    everything examined at a place was normal. Nothing for what was not examined or is disputed.
    """
    data = figure_of(region)
    at_places = (
        mark
        for place in data.places
        for side in SIDES
        for mark in _at_place(record, region, place, side)
    )
    return (*at_places, *_drawn(record, region, data))


def _at_place(record: Record, region: Region, place: FigurePlace, side: str) -> Iterator[Mark]:
    found = [
        (item, finding)
        for item in items_at(place, side, protocol_of(region))
        for finding in record.examined(item.id, side)
        if not isinstance(finding.value, PlaceValue)
    ]
    normal = [_is_normal(item, finding) for item, finding in found]
    abnormal = dict.fromkeys(
        item for (item, _), fine in zip(found, normal, strict=True) if fine is False
    )
    for item in abnormal:
        yield _mark(record, place, item, side)
    if found and all(normal):
        yield Mark("normal", side, "", place.id)


def _is_normal(item: Item, finding: Finding) -> bool | None:
    assert finding.value is not None, "only what was examined has a normal"
    limits = item.kind(finding.value.kind)
    return is_normal(finding, limits) if limits else None


def _mark(record: Record, place: FigurePlace, item: Item, side: str) -> Mark:
    tender: Any = next(
        (
            finding.value
            for finding in record.examined(item.id, side)
            if isinstance(finding.value, Tenderness)
        ),
        None,
    )
    kind = place.items[item.id]
    if kind == "tender" and not (tender and tender.grade):
        kind = "other"
    whose = "" if side == "midline" else f"{side} "
    words = f"{whose}{item.label}: {place_phrase(record, item, side)}"
    grade = min(3, tender.grade) if kind == "tender" else 1
    return Mark(kind, side, words, place.id, grade=grade, own=bool(tender and tender.familiar))


def _drawn(record: Record, region: Region, data: FigureData) -> Iterator[Mark]:
    labels = _labels(region, data)
    for finding in record.findings:
        value = finding.value
        if not isinstance(value, PlaceValue) or finding.status != "examined":
            continue
        kind = data.marks.get(finding.item, "other")
        where = value.structure or value.view or "place not stated"
        words = f"{finding.side} {value.what}: {where}"
        if value.drawn:
            line = line_points(value.drawn)
            yield Mark(
                kind, finding.side, words, at=middle_of(line), line=line, view=value.view or ""
            )
        elif value.structure in labels:
            yield Mark(kind, finding.side, words, labels[value.structure])
        elif near := _earlier(value, data):
            label = place_label(near, region)
            yield Mark(kind, finding.side, f"{words}, near: {label} ({EARLIER})", near.id)
        else:
            yield Mark(kind, finding.side, words, at=(0.0, 0.0), view="not drawn")


def _earlier(value: PlaceValue, data: FigureData) -> FigurePlace | None:
    if value.view is None or value.x is None or value.y is None:
        return None
    return data.earlier_place(value.view, value.x, value.y)


def _labels(region: Region, data: FigureData) -> dict[str | None, str]:
    """Places by their own name, then by the names of the structures they belong to."""
    atlas = atlas_of(region)
    if atlas is None:
        return {}
    structures = {one.id: one.label for one in protocol_of(region).structures}
    found: dict[str | None, str] = {atlas.places[p.id].label: p.id for p in data.places}
    for place in data.places:
        for structure in atlas.places[place.id].structures:
            found.setdefault(structures[structure], place.id)
    return found


@dataclass(frozen=True, slots=True)
class MeasuredPose:
    """A movement as it was measured on each side, with the posture drawn for it.

    ghost: by side, the passive posture where the active one is drawn as well. unmeasured: sides
    without a number. size: degrees between the sides, or between active and passive.
    """

    item: Item
    views: tuple[str, ...]
    arms: Arms
    ghost: dict[str, Choice]
    unmeasured: tuple[str, ...]
    words: tuple[str, ...]
    size: float


@in_english
def measured_poses(record: Record, region: Region) -> tuple[MeasuredPose, ...]:
    """Every movement with a number that the atlas can draw, in the protocol's order."""
    atlas = atlas_of(region)
    if atlas is None:
        return ()
    protocol = protocol_of(region)
    found: dict[str, list[Measurement]] = {}
    for reading in measurements(record, protocol):
        if reading.item in atlas.items:
            found.setdefault(reading.item, []).append(reading)
    return tuple(
        _pose(record, region, atlas, protocol.item(item), readings)
        for item, readings in found.items()
    )


def _pose(
    record: Record, region: Region, atlas: Atlas, item: Item, readings: list[Measurement]
) -> MeasuredPose:
    data = figure_of(region)
    drawn: dict[tuple[str, str], Choice] = {}
    numbers: dict[tuple[str, str], float] = {}
    for reading in readings:
        how = reading.mode or "active"
        # A hitching blade is seen when the patient raises the arm, not when it is raised.
        hitching = how == "active" and _hitches(record, data, reading.side)
        at = reading.shown if reading.ladder else reading.number
        drawn[reading.side, how] = atlas.choose(item.id, at, hitching=hitching)
        numbers[reading.side, how] = reading.number
    solid, ghost, words = {}, {}, []
    for side in ("right", "left"):
        active, passive = drawn.get((side, "active")), drawn.get((side, "passive"))
        if (shown := active or passive) is not None:
            solid[side] = shown
        if active and passive and _drawing(active) != _drawing(passive):
            ghost[side] = passive
        words.append(f"{side}: {'; '.join(_lines(record, item, side, drawn))}")
    movement = atlas.items[item.id].movement
    seen = data.seen_from[movement]
    return MeasuredPose(
        item,
        ("right side", "left side") if seen == "side" else (seen,),
        Arms(solid.get("right", atlas.rest), solid.get("left", atlas.rest)),
        ghost,
        tuple(side for side in ("right", "left") if side not in solid),
        tuple(words),
        max(numbers.values()) - min(numbers.values()),
    )


def _drawing(choice: Choice) -> tuple[str, float | str]:
    return choice.drawn, choice.shown


def _lines(
    record: Record, item: Item, side: str, drawn: dict[tuple[str, str], Choice]
) -> Iterator[str]:
    for mode in item.modes or (None,):
        how = mode or "active"
        choice = drawn.get((side, how))
        head = f"{mode} " if mode else ""
        if choice is not None:
            yield head + choice.number
            continue
        said = place_phrase(record, item, side, mode)
        yield f"{head}{said}" if said == "not examined" else f"{head}{said}, not drawn"


def _hitches(record: Record, data: FigureData, side: str) -> bool:
    return any(
        isinstance(finding.value, ChoiceValue) and set(finding.value.chosen) & set(words)
        for item, words in data.hitching.items()
        for finding in record.examined(item, side)
    )
