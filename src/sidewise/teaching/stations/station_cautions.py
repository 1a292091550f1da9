"""What a second person would ask about a station that is valid: sentences, none of them a rule.

The rules of thumb are our judgement; they are said and never enforced.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from sidewise.knowledge.region import Region
from sidewise.protocol import Item, protocol_of
from sidewise.teaching.stations.station import Station

LARGE_SHARE = 0.4
"""A step that carries more of the points than this decides the station by itself."""
MOST_STEPS_A_MINUTE = 4.0
"""Lines of a sheet; more than these an examiner ticks without looking (our judgement)."""


def station_cautions(
    station: Station, region: Region | None = None, labels: Mapping[str, str] | None = None
) -> tuple[str, ...]:
    """Sentences for the author and the reviewer. labels: of conditions, by their id."""
    items = {item.id: item for item in protocol_of(region).items} if region else {}
    found = [
        *_about_the_sheet(station),
        *_about_time(station, items),
        *_about_sides(station, items),
        *_told_away(station, labels or {}),
    ]
    return tuple(f"{station.id}: {sentence}" for sentence in found)


def _about_the_sheet(station: Station) -> Iterator[str]:
    heavy = max(station.steps, key=lambda step: step.weight)
    if len(station.steps) > 1 and heavy.weight > LARGE_SHARE * station.total:
        share = heavy.weight / station.total
        yield f"the step {heavy.id} carries {share:.0%} of the points: it decides by itself."
    if not any(step.kind == "manner" for step in station.steps):
        yield "nothing on the sheet is about the manner towards the patient."
    if not station.critical:
        yield "no critical error is named: would any act here harm a patient?"
    if not station.good:
        yield "what a good performance shows is not written down: examiners will differ."
    if len(station.steps) > MOST_STEPS_A_MINUTE * station.minutes:
        yield (
            f"{len(station.steps)} lines in {station.minutes:g} minutes: more than an examiner can "
            "watch for."
        )


def _about_time(station: Station, items: Mapping[str, Item]) -> Iterator[str]:
    wanted = {step.item for step in station.steps if step.item in items}
    minutes = sum(items[name].seconds for name in wanted) / 60
    if minutes > station.minutes:
        yield (
            f"its items take {minutes:.0f} minutes of the patient's time by the protocol; the "
            f"station has {station.minutes:g}."
        )
    sore = sum(items[name].soreness for name in wanted)
    if sore and not station.strain:
        yield (
            "some of its items may hurt, and strain is 0: the timetable will not spare the "
            "actor (soreness of the protocol in all: "
            f"{sore})."
        )


def _about_sides(station: Station, items: Mapping[str, Item]) -> Iterator[str]:
    paired = [s for s in station.steps if s.item in items and items[s.item].paired]
    if paired and not any(step.kind == "both sides" for step in paired):
        yield "it examines what has two sides, and no step asks that both are compared."


def _told_away(station: Station, labels: Mapping[str, str]) -> Iterator[str]:
    task = station.candidate.casefold()
    for name in station.conditions:
        label = labels.get(name, name.replace("_", " "))
        if label.casefold() in task:
            yield f"the candidate's task names the condition ({label})."


def set_cautions(stations: Sequence[Station]) -> tuple[str, ...]:
    """What is said of several stations that stand in one sitting."""
    found = []
    scales = {station.rating.model_dump_json() for station in stations}
    if len(scales) > 1:
        found.append(
            f"The stations use {len(scales)} scales of global ratings; a sitting is analysed on "
            "one."
        )
    if len({station.minutes for station in stations}) > 1:
        longest = max(station.minutes for station in stations)
        found.append(
            f"The stations take different minutes: in one circuit every round lasts {longest:g}."
        )
    return tuple(found)
