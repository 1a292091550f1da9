"""Several stations of one sitting, read together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from sidewise.errors import UserError, UserErrors
from sidewise.knowledge.region import Region, known_name
from sidewise.teaching.stations.station import Station
from sidewise.teaching.stations.station_file import item_faults, read_station


def read_stations(paths: Sequence[Path], regions: Mapping[str, Region]) -> tuple[Station, ...]:
    """The stations, each held against its own region. UserErrors with the faults of all files."""
    found: dict[str, Station] = {}
    faults: list[UserError] = []
    for path in paths:
        try:
            station = _read_one(path, regions)
        except UserError as error:
            faults += error.errors if isinstance(error, UserErrors) else [error]
            continue
        if station.id in found:
            faults.append(UserError(f"{path.name}: id", station.id, "a name of its own",
                                    "Another of the files has it."))  # fmt: skip
        found[station.id] = station
    if faults:
        raise UserErrors(faults)
    return tuple(found.values())


def _read_one(path: Path, regions: Mapping[str, Region]) -> Station:
    station = read_station(path)
    if not station.region:
        return station
    region = regions[known_name(regions, station.region)]
    if wrong := list(item_faults(station, region)):
        raise UserErrors([one.inside(f"{path.name}: {station.id}") for one in wrong])
    return station
