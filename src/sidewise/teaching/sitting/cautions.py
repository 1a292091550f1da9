"""What a sitting's figures need said beside them: stations' marks and examiners without spread."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from sidewise.teaching.sitting.stations import StationFigures

if TYPE_CHECKING:
    import pandas as pd

# An examiner with fewer students than this may well have seen equal performances: our judgement.
FEWEST_JUDGED = 5
# More names than this in one sentence are not read; tables have them all.
MOST_NAMES = 12


def station_warnings(figures: tuple[StationFigures, ...]) -> tuple[str, ...]:
    """The warnings of the stations' pass marks, each once with the stations it concerns."""
    where: dict[str, list[str]] = {}
    for station in figures:
        for warning in station.warnings:
            where.setdefault(warning, []).append(station.station)
    return tuple(f"{warning} (at {listed_names(names)})" for warning, names in where.items())


def listed_names(names: Sequence[str]) -> str:
    """Names in a sentence; a long list is cut and counted."""
    shown = names if len(names) <= MOST_NAMES else names[: MOST_NAMES - 1]
    more = f" and {len(names) - len(shown):,} more" if len(shown) < len(names) else ""
    return f"{', '.join(shown)}{more}"


def unvaried_examiners(rated: pd.DataFrame) -> tuple[str, ...]:
    """Examiners who gave every student the same mark at a station, or the same rating all day."""
    here = rated.groupby(["examiner", "station"], sort=False)["score"]
    notes = [
        f"{examiner} gave all {rows} students at {station} the same mark "
        f"({mark:.1f}): these marks tell students apart by nothing."
        for (examiner, station), rows, mark in _one_value(here)
    ]
    given = rated.groupby("examiner", sort=False)["global_rating"]
    notes += [
        f"{name} gave all {rows} students the same global rating: the pass mark "
        "learns nothing from it."
        for name, rows, _ in _one_value(given)
    ]
    return tuple(notes)


def _one_value(groups: Any) -> Iterator[tuple[Any, int, float]]:
    """The groups of enough values, all alike: the group, how many and the value."""
    found = groups.agg(["count", "nunique", "first"])
    for key, rows, values, first in found.itertuples():
        if rows >= FEWEST_JUDGED and values == 1:
            yield key, rows, first
