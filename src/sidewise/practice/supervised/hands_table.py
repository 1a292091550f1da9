"""Compared places as a table of findings, so that hands are judged as in any study of agreement.

The supervisor is the reference, the learner the one examiner; a visit is a patient.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import isnan
from typing import Any

import numpy as np

from sidewise.practice.supervised.place import (
    SAME,
    THEY_LEFT_OUT,
    WITHIN,
    YOU_LEFT_OUT,
    FindingCompared,
)
from sidewise.record import OTHER
from sidewise.teaching.hands.hands import AgainstReference, Hands, agreement_of_hands
from sidewise.teaching.tables.findings_table import Findings, ItemFindings
from sidewise.teaching.thresholds import quoted_threshold

LEARNER = "learner"


def exchanged_items(places: Sequence[FindingCompared]) -> tuple[str, ...]:
    """Items found on each side as the supervisor found them on the other; () where it is chance.

    A finding votes if the supervisor's own sides differ there by more than the published error. As
    many more votes for exchanged sides are asked for as in a study of agreement.
    """
    by_place = {(one.item, one.mode, one.side): one for one in places
                if one.verdict not in (YOU_LEFT_OUT, THEY_LEFT_OUT)}  # fmt: skip
    crossed, straight = [], 0
    for (item, mode, side), own in by_place.items():
        across = by_place.get((item, mode, OTHER.get(side, "")))
        vote = None if across is None else _is_crossed(own, across)
        if vote:
            crossed.append(own.label)
        straight += vote is False
    least = int(quoted_threshold("sides_swapped_net").value)
    return tuple(dict.fromkeys(crossed)) if len(crossed) - straight >= least else ()


def _is_crossed(own: FindingCompared, across: FindingCompared) -> bool | None:
    """Whether what was found here is what the supervisor found across; None where nothing tells."""
    if own.numbers is not None and across.numbers is not None:
        found, here, there = own.numbers[0], own.numbers[1], across.numbers[1]
        if abs(here - there) <= (own.threshold or 0.0):
            return None
        return abs(found - there) < abs(found - here)
    if own.theirs == across.theirs or own.yours not in (own.theirs, across.theirs):
        return None
    return own.yours == across.theirs


def hands_over_visits(visits: Mapping[str, Iterable[Mapping[str, Any]]]) -> Hands | None:
    """Agreement with supervisors over visits, from their kept comparisons; None of nothing."""
    places = {name: [_place(one) for one in there] for name, there in visits.items()}
    findings = _findings(places)
    return agreement_of_hands(findings) if findings.items else None


@dataclass(frozen=True, slots=True)
class HandsLine:
    """One item over visits: in how many of the places compared the two were alike.

    Alike is the same sign or grade, or a number within the published error. words: of a number the
    mean of learner minus supervisor with the limits of agreement; of a sign agreement beyond
    chance; "" while there are too few.
    """

    item: str
    count: int
    alike: int
    words: str


def hands_lines(visits: Mapping[str, Iterable[Mapping[str, Any]]]) -> tuple[HandsLine, ...]:
    """The items of all visits, those most often unlike the supervisor's first."""
    kept = {name: list(there) for name, there in visits.items()}
    hands = hands_over_visits(kept)
    alike = Counter(
        _label(_place(one))
        for there in kept.values()
        for one in there
        if one["verdict"] in (SAME, WITHIN)
    )
    lines = [] if hands is None else [
        HandsLine(item.item, one.n, alike[item.item], _over_visits(one))
        for item in hands.items for one in item.against
    ]  # fmt: skip
    return tuple(sorted(lines, key=lambda one: one.alike - one.count))


def _label(place: FindingCompared) -> str:
    return f"{place.label}, {place.mode}" if place.mode else place.label


LEAST = 3
"""Places compared before anything is said beyond counting."""


def _over_visits(one: AgainstReference) -> str:
    if one.n < LEAST:
        return ""
    if one.limits is not None:
        low, high = one.limits.lower.value, one.limits.upper.value
        return f"{one.limits.mean.value:+.0f} on average ({low:+.0f} to {high:+.0f})"
    if one.ac1 is None or isnan(one.ac1.value) or isnan(one.ac1.low):
        return ""
    return f"beyond chance {one.ac1.value:.2f} ({one.ac1.low:.2f} to {one.ac1.high:.2f}, AC1)"


def _place(kept: Mapping[str, Any]) -> FindingCompared:
    data = dict(kept)
    data["numbers"] = tuple(data["numbers"]) if data.get("numbers") else None
    return FindingCompared(**data)


def _findings(visits: Mapping[str, Sequence[FindingCompared]]) -> Findings:
    by_item: dict[str, list[tuple[str, FindingCompared]]] = {}
    for visit, places in visits.items():
        for one in places:
            if one.verdict not in (YOU_LEFT_OUT, THEY_LEFT_OUT):
                by_item.setdefault(_label(one), []).append((visit, one))
    items = tuple(_item(label, there) for label, there in by_item.items())
    rows = sum(len(item.units) for item in items)
    return Findings("supervised visits", 2 * rows, len(visits), (LEARNER,), 0, True, items)


def _item(label: str, there: list[tuple[str, FindingCompared]]) -> ItemFindings:
    units = tuple((visit, one.side) for visit, one in there)
    measured = all(one.numbers is not None for _, one in there)
    if measured:
        pairs = [one.numbers for _, one in there]
        words: tuple[str, ...] = ()
    else:
        words = tuple(sorted({text for _, one in there for text in (one.yours, one.theirs)}))
        pairs = [(float(words.index(one.yours)), float(words.index(one.theirs)))
                 for _, one in there]  # fmt: skip
    table = np.asarray(pairs, dtype=float)
    kind = "measurement" if measured else "sign"
    return ItemFindings(label, kind, words, units, (LEARNER,), table[:, :1], table[:, 1])  # type: ignore[arg-type]
