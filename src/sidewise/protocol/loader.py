"""The protocol of a region, made from its parts and checked whole."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sidewise.errors import UserError
from sidewise.ground.validation import validate_model
from sidewise.kinds.common.vocabulary import Vocabulary, join_vocabularies
from sidewise.knowledge.region import Region
from sidewise.protocol.fits import misfit, negative_threshold
from sidewise.protocol.model import HistoryItem, Item, Protocol
from sidewise.protocol.visits import check_visit_kinds, visit_book


def protocol_of(region: Region) -> Protocol:
    """The protocol of a region.

    UserError where a part breaks the schema, names something twice or points nowhere.
    """
    return region.view(_protocol)


def vocabulary_of_all(regions: Mapping[str, Region]) -> Vocabulary:
    """The words of every region: for tables and schemas that hold records of any of them."""
    return join_vocabularies(protocol_of(region).vocabulary for region in regions.values())


def _protocol(region: Region) -> Protocol:
    history = region.part("history")
    data = {
        **region.part("region"),
        "items": region.part("items"),
        "history": _field(history, "questions"),
        "vitals": _field(history, "vitals"),
        "readings": region.part("readings"),
        "scales": tuple(_scales(region)),
    }
    if region.has("visits"):
        data["visits"] = visit_book(region.part("visits"))
    protocol = validate_model(Protocol, data, "")
    check_visit_kinds(protocol)
    _check_readings(protocol)
    return protocol


def _scales(region: Region) -> Iterator[dict[str, Any]]:
    """The scales of the table of changes, each once; the table is checked where it is read."""
    seen: set[str] = set()
    for row in region.part("change") if region.has("change") else ():
        if row["kind"] == "scale" and row["measure"] not in seen:
            seen.add(row["measure"])
            ends = {name: row[name] for name in ("label", "low", "high", "better")}
            yield {"id": row["measure"], **ends}


def _field(history: object, name: str) -> object:
    if not isinstance(history, dict) or name not in history:
        raise UserError(f"history.yaml: {name}", None, "a list", "It may be empty: []")
    return history[name]


def _check_readings(protocol: Protocol) -> None:
    """Raises UserError where a reading's criterion could never be met by its item."""
    targets: dict[str, Item | HistoryItem] = {**protocol.by_id, **protocol.history_by_id}
    for reading in protocol.readings:
        needs = ((need.criterion, need.item) for need in reading.interpretable_when)
        for criterion, name in ((reading.criterion, reading.item), *needs):
            if problem := misfit(criterion, targets[name]) or negative_threshold(criterion):
                raise UserError(f"readings.yaml: {reading.id}", f"{name}: {problem}", "a fit")
