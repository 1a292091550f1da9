"""The moment when what was stated and what the findings warranted parted.

Premature closure: sure of a thing while the findings so far did not make it so (Graber, Franklin
and Gordon, Arch Intern Med 2005; 165: 1493-1499, found it the commonest fault of thinking).
Anchoring: the findings moved and the statement did not (Tversky and Kahneman, Science 1974; 185:
1124-1131). The limits are our judgement; each stands below.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

SURE = 0.85
"""From this chance on somebody acts as if it were so."""
APART = 0.3
"""Stated and warranted chance this far apart have parted."""
MOVED, STOOD = 0.3, 0.1
"""Findings that move a chance by so much, and a statement that moves by no more."""
CLOSURE, ANCHORING, OVER, UNDER = "premature closure", "anchoring", "too sure", "too unsure"
KINDS = (CLOSURE, ANCHORING, OVER, UNDER)
"""From the gravest: being sure stops an examination, holding fast wastes it."""


@dataclass(frozen=True, slots=True)
class StatedMoment:
    """A statement: after how many steps, and chances stated and warranted by group."""

    step: int
    stated: dict[str, float]
    warranted: dict[str, float]


@dataclass(frozen=True, slots=True)
class Parting:
    """When stated and warranted chance of one group parted. step: counted from 1."""

    kind: str
    step: int
    group: str
    stated: float
    warranted: float
    moved_from: float | None = None


def gravest_parting(moments: Sequence[StatedMoment]) -> Parting | None:
    """The first moment of the gravest kind, at the group furthest off; None where none was."""
    found = [
        one
        for number, moment in enumerate(moments)
        for some in (_closures(moment), _anchors(moments[:number], moment), _apart(moment))
        for one in some
    ]
    return min(
        found, key=lambda one: (KINDS.index(one.kind), one.step, -_distance(one)), default=None
    )


def _distance(one: Parting) -> float:
    return abs(one.stated - one.warranted)


def _pairs(moment: StatedMoment) -> Iterator[tuple[str, float, float]]:
    for group, stated in moment.stated.items():
        yield group, stated, moment.warranted[group]


def _closures(moment: StatedMoment) -> Iterator[Parting]:
    for group, stated, warranted in _pairs(moment):
        if stated >= SURE and stated - warranted >= APART:
            yield Parting(CLOSURE, moment.step, group, stated, warranted)


def _anchors(earlier: Sequence[StatedMoment], moment: StatedMoment) -> Iterator[Parting]:
    for group, stated, warranted in _pairs(moment):
        for before in earlier:
            if group in before.stated:
                went = abs(warranted - before.warranted[group])
                stood = abs(stated - before.stated[group]) <= STOOD
                if went >= MOVED and stood and abs(stated - warranted) >= APART:
                    then = before.warranted[group]
                    yield Parting(ANCHORING, moment.step, group, stated, warranted, then)


def _apart(moment: StatedMoment) -> Iterator[Parting]:
    for group, stated, warranted in _pairs(moment):
        if abs(stated - warranted) >= APART:
            kind = OVER if stated > warranted else UNDER
            yield Parting(kind, moment.step, group, stated, warranted)
