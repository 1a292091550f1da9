"""The blueprint of a set of stations: which stages, conditions, skills and domains they cover.

Points are shares of the whole examination, each station counting alike, as the analysis of marks
counts them. A gap is said, not judged: no examination holds everything.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.teaching.stations.station import SheetStep, Station

ELSEWHERE = "(none named)"
MOST_NAMED = 10
"""Names in one sentence about a gap; of more the number is said."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """One row of a blueprint: what is covered, by which stations, with which share (0 to 1) of the
    points of the whole examination."""

    name: str
    stations: tuple[str, ...]
    share: float


@dataclass(frozen=True, slots=True)
class Blueprint:
    """What a set of stations covers. gaps: sentences, what nothing in the set covers."""

    stations: tuple[str, ...]
    domains: tuple[Coverage, ...]
    stages: tuple[Coverage, ...]
    skills: tuple[Coverage, ...]
    conditions: tuple[Coverage, ...]
    both_sides: Coverage
    manner: Coverage
    gaps: tuple[str, ...]


def blueprint(
    stations: Sequence[Station], region: Region | None = None,
    conditions: Mapping[str, str] | None = None,
) -> Blueprint:  # fmt: skip
    """What the stations cover. conditions: labels of those of the region, to name the gaps."""
    labels = dict(conditions or {})
    return Blueprint(
        stations=tuple(station.id for station in stations),
        domains=_whole(stations, lambda one: (one.domain or ELSEWHERE,)),
        stages=_by_step(stations, lambda step: step.stage or ELSEWHERE, _stage_names(region)),
        skills=_by_step(stations, lambda step: step.skill or ELSEWHERE),
        conditions=_whole(stations, lambda one: one.conditions, labels),
        both_sides=_of_kind(stations, "both sides"),
        manner=_of_kind(stations, "manner"),
        gaps=tuple(_gaps(stations, region, labels)),
    )


def _stage_names(region: Region | None) -> tuple[str, ...]:
    return tuple(stage.id for stage in protocol_of(region).stages) if region else ()


def _share(station: Station, steps: Iterable[SheetStep], count: int) -> float:
    return sum(step.weight for step in steps) / station.weights / count


def _by_step(
    stations: Sequence[Station], name_of: Callable[[SheetStep], str], first: tuple[str, ...] = ()
) -> tuple[Coverage, ...]:
    every = [name_of(step) for station in stations for step in station.steps]
    names = dict.fromkeys([*(name for name in first if name in every), *every])

    def called(name: str) -> Callable[[SheetStep], bool]:
        return lambda step: name_of(step) == name

    return tuple(_row(name, stations, called(name)) for name in names)


def _of_kind(stations: Sequence[Station], kind: str) -> Coverage:
    return _row(kind, stations, lambda step: step.kind == kind)


def _row(name: str, stations: Sequence[Station], has: Callable[[SheetStep], bool]) -> Coverage:
    there = {one.id: [step for step in one.steps if has(step)] for one in stations}
    return Coverage(
        name,
        tuple(code for code, steps in there.items() if steps),
        sum(_share(one, there[one.id], len(stations)) for one in stations),
    )


def _whole(
    stations: Sequence[Station], names_of: Callable[[Station], Iterable[str]],
    labels: Mapping[str, str] | None = None,
) -> tuple[Coverage, ...]:  # fmt: skip
    known = labels or {}
    names = dict.fromkeys(name for station in stations for name in names_of(station))
    found = {name: [s.id for s in stations if name in tuple(names_of(s))] for name in names}
    return tuple(
        Coverage(known.get(name, name), tuple(codes), len(codes) / len(stations))
        for name, codes in found.items()
    )


def _gaps(
    stations: Sequence[Station], region: Region | None, conditions: Mapping[str, str]
) -> list[str]:
    steps = [step for station in stations for step in station.steps]
    found = []
    if not any(step.kind == "both sides" for step in steps):
        found.append("No step asks that both sides are compared.")
    if not any(step.kind == "manner" for step in steps):
        found.append("No step is about the manner towards the patient.")
    if region is not None:
        found += _gaps_of_region(steps, region)
    named = {name for station in stations for name in station.conditions}
    if missing := [label for name, label in conditions.items() if name not in named]:
        found.append(f"No station is about: {_shortened(missing)}.")
    return found


def _gaps_of_region(steps: Sequence[SheetStep], region: Region) -> list[str]:
    protocol = protocol_of(region)
    items = {step.item for step in steps}
    stages = {step.stage for step in steps}
    found = []
    if absent := [s.label or s.id for s in protocol.stages if s.id not in stages]:
        found.append(f"No step belongs to the stages: {_shortened(absent)}.")
    screens = [i.label for i in protocol.items if i.role == "flag" and i.id not in items]
    if screens:
        found.append(f"What screens for a red flag and is in no station: {_shortened(screens)}.")
    count = sum(i.role == "essential" and i.id not in items for i in protocol.items)
    if count:
        every = sum(i.role == "essential" for i in protocol.items)
        found.append(f"{count} of the {every} essential items are in no station.")
    return found


def _shortened(names: Sequence[str]) -> str:
    more = len(names) - MOST_NAMED
    return f"{', '.join(names[:MOST_NAMED])}{f' and {more} more' if more > 0 else ''}"


def blueprint_lines(found: Blueprint) -> list[str]:
    """The blueprint in words, a line a row."""
    lines = [f"{len(found.stations)} stations: {', '.join(found.stations)}."]
    for title, rows in (
        ("Domains", found.domains), ("Stages", found.stages), ("Skills", found.skills),
        ("Conditions", found.conditions), ("Kinds", (found.both_sides, found.manner)),
    ):  # fmt: skip
        if rows:
            lines += ["", f"{title} (share of the points; stations):"]
            lines += [f"  {row.share:4.0%}  {row.name}: {_listed(row.stations)}" for row in rows]
    if found.gaps:
        lines += ["", "Gaps:", *(f"  {gap}" for gap in found.gaps)]
    return lines


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names) or "none"
