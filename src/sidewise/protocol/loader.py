"""Reads a region's protocol from its folder of YAML files.

Adding a region means adding a folder under `knowledge/`; no name of a region stands in code.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml
from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.protocol.fits import misfit
from sidewise.protocol.model import HistoryItem, Item, Protocol

KNOWLEDGE = Path(__file__).resolve().parent.parent / "knowledge"
_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


def regions() -> tuple[str, ...]:
    """The regions there is knowledge for."""
    return tuple(sorted(path.parent.name for path in KNOWLEDGE.glob("*/region.yaml")))


def region_folder(region: str) -> Path:
    """The folder of one region; UserError if there is none."""
    if region not in regions():
        raise UserError("region", region, f"one of {', '.join(regions())}")
    return KNOWLEDGE / region


def read_yaml(path: Path) -> Any:
    """The content of one YAML file; a syntax error names file and line."""
    try:
        return yaml.load(path.read_text(encoding="utf-8"), Loader=_Loader)
    except yaml.YAMLError as error:
        raise UserError(path.name, str(error).replace("\n", " "), "valid YAML") from error


def validated(model: Any, data: Any, place: str) -> Any:
    """`data` as `model`; the first thing wrong with it becomes a UserError that names the place."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in (place, *first["loc"]))
        raise UserError(where, first.get("input"), first["msg"]) from error


@lru_cache(maxsize=8)
def load_protocol(region: str = "", folder: Path | None = None) -> Protocol:
    """The protocol of `region` (default: the only one), checked whole.

    Raises UserError where a file breaks the schema, names something twice or points nowhere.
    """
    folder = folder or region_folder(region or regions()[0])
    items = [entry for path in sorted(folder.glob("protocol/*.yaml")) for entry in read_yaml(path)]
    history = read_yaml(folder / "history.yaml")
    data = {
        **read_yaml(folder / "region.yaml"),
        "items": items,
        "history": history["questions"],
        "vitals": history["vitals"],
        "readings": read_yaml(folder / "readings.yaml"),
    }
    protocol: Protocol = validated(Protocol, data, folder.name)
    _check_readings(protocol)
    return protocol


def _check_readings(protocol: Protocol) -> None:
    """Raises UserError where a reading's criterion could never be met by its item."""
    targets: dict[str, Item | HistoryItem] = {**protocol.by_id, **protocol.history_by_id}
    for reading in protocol.readings:
        needs = ((need.criterion, need.item) for need in reading.interpretable_when)
        for criterion, name in ((reading.criterion, reading.item), *needs):
            if problem := misfit(criterion, targets[name]):
                raise UserError(f"readings.yaml: {reading.id}", f"{name}: {problem}", "a fit")
