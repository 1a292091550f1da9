"""A station from its file and back: checked whole before it is used."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sidewise.errors import UserError, UserErrors
from sidewise.ground.documents import parse_document, read_document_text
from sidewise.ground.validation import validate_model
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.teaching.stations.station import STATION_FORMAT, Station


def read_station(path: Path, region: Region | None = None) -> Station:
    """A station from a YAML or JSON file; UserErrors with everything that is wrong with it."""
    return parse_station(read_document_text(path), path.name, region)


def parse_station(text: str, name: str, region: Region | None = None) -> Station:
    """A station from the text of its file. region: that of its items, to hold them against."""
    document = parse_document(text, name)
    if document.get("format") != STATION_FORMAT:
        raise UserError(f"{name}: format", document.get("format"), f'"{STATION_FORMAT}"',
                        "The first line of a station says so.")  # fmt: skip
    station = validate_model(Station, document, name)
    if faults := [*station_faults(station), *item_faults(station, region)]:
        raise UserErrors([one.inside(f"{name}: {station.id}") for one in faults])
    return station


def station_faults(station: Station) -> Iterator[UserError]:
    """What makes a station unusable, each at its place."""
    if not station.steps:
        yield UserError("steps", "none", "at least one step",
                        "A station without steps cannot be marked.")  # fmt: skip
    elif not station.adds_up:
        yield UserError("steps", f"weights that add up to {station.weights:g}",
                        f"{station.total:g}, the total that is stated",
                        "Correct a weight, or the total.")  # fmt: skip
    twice = [name for name, count in Counter(s.id for s in station.steps).items() if count > 1]
    if twice:
        yield UserError("steps", f"{', '.join(twice)} twice", "every step with a name of its own")
    try:
        _ = station.rating.scale
    except UserError as error:
        yield error if error.where.startswith("rating") else error.inside("rating")


def item_faults(station: Station, region: Region | None) -> Iterator[UserError]:
    """Items and stages that the region does not have; both sides of what has no sides."""
    if region is None:
        return
    protocol = protocol_of(region)
    items = {item.id: item for item in protocol.items}
    stages = {stage.id for stage in protocol.stages}
    yield from _condition_faults(station, region)
    for place, step in enumerate(station.steps):
        item = items.get(step.item)
        if step.item and item is None:
            yield UserError(f"steps[{place}].item", step.item, f"an item of the {region.label}",
                            f"See `sidewise sources --region {region.id}`.")  # fmt: skip
        if step.stage and step.stage not in stages:
            yield UserError(f"steps[{place}].stage", step.stage, f"one of {', '.join(stages)}")
        if item is not None and step.kind == "both sides" and not item.paired:
            yield UserError(f"steps[{place}].kind", "both sides", "an item that has two sides",
                            f"{item.label} has none.")  # fmt: skip


def _condition_faults(station: Station, region: Region) -> Iterator[UserError]:
    if not region.has("conditions"):
        return
    known = [one["id"] for one in region.part("conditions")["conditions"]]
    for name in station.conditions:
        if name not in known:
            yield UserError("conditions", name, f"one of {', '.join(known)}")


def station_text(station: Station) -> str:
    """A station as it stands in its YAML file; read again it is the same station."""
    import yaml

    plain = _without_defaults(station)
    return yaml.safe_dump(plain, sort_keys=False, allow_unicode=True, width=96)


def _without_defaults(station: Station) -> dict[str, Any]:
    plain: dict[str, Any] = station.model_dump(mode="json", exclude_defaults=True)
    return {"format": STATION_FORMAT, **plain}
