"""Findings that nothing was drawn of and that follow from others, so that none gainsays the story.

A hand that cannot go behind the back does not tuck in a shirt; whoever comes because it hurts has a
place to point to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sidewise.knowledge.region import Region
from sidewise.practice.ways import Following, PatientWays
from sidewise.protocol import Protocol, protocol_of
from sidewise.record import Finding

Reach = dict[tuple[str, str], Any]
"""Degrees, or the level reached, of active movements by item and side."""


def following_findings(
    region: Region, ways: PatientWays, complaint: Sequence[str], found: Sequence[Finding]
) -> Iterator[Finding]:
    """The findings in their order, with those replaced that follow from other findings or from
    the complaint. What follows from a movement that could not be made is left as it was."""
    protocol, reach = protocol_of(region), _reach(found)
    for finding in found:
        shows = _shows(protocol, ways, reach, finding)
        if shows is None and finding.side in complaint and _is_normal(protocol, finding):
            shows = ways.shown_by_complaint.get(finding.item)
        yield finding if shows is None else _with_choice(protocol, finding, shows)


def _reach(found: Sequence[Finding]) -> Reach:
    return {
        (one.item, one.side): getattr(one.value, "degrees", None) or getattr(one.value, "level", 0)
        for one in found
        if one.value is not None and one.value.kind in ("angle", "level") and one.mode != "passive"
    }


def _shows(protocol: Protocol, ways: PatientWays, reach: Reach, finding: Finding) -> str | None:
    for rule in ways.follows.get(finding.item, ()):
        far = reach.get((rule.by, finding.side))
        if far is not None and _ends_below(protocol, rule, far):
            return rule.shows
    return None


def _ends_below(protocol: Protocol, rule: Following, far: Any) -> bool:
    if isinstance(rule.below, str):
        ladder = getattr(protocol.item(rule.by).kind("level"), "ladder", ())
        return bool(ladder.index(far) < ladder.index(rule.below))
    return bool(far < rule.below)


def _is_normal(protocol: Protocol, finding: Finding) -> bool:
    limits = protocol.item(finding.item).kind("choice")
    chosen = getattr(finding.value, "choice", ())
    said = (chosen,) if isinstance(chosen, str) else chosen
    return limits is not None and set(said) <= set(getattr(limits, "normal", ()) or ())


def _with_choice(protocol: Protocol, finding: Finding, shows: str) -> Finding:
    several = getattr(protocol.item(finding.item).kind("choice"), "several", False)
    value = {"kind": "choice", "choice": [shows] if several else shows}
    data = {"item": finding.item, "side": finding.side, "mode": finding.mode, "value": value}
    return Finding.model_validate(data)
