"""What was done, planned and reported, as the page lists it: in words, by whom, when."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from sidewise.note.care import care_phrase
from sidewise.record import CareStep
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import Current, current


@dataclass(frozen=True, slots=True)
class CareShown:
    """One entry of the list."""

    id: str
    words: str
    is_planned: bool
    by: str
    at: datetime


def care_shown(now: Current) -> tuple[CareShown, ...]:
    """Every live entry, oldest first."""
    made = {entry.id: entry for entry in now.entries} if now.folded.care else {}
    return tuple(
        CareShown(
            name,
            care_phrase(held, now.region),
            isinstance(held, CareStep) and held.state == "planned",
            made[name].by,
            made[name].at,
        )
        for name, held in now.folded.care.items()
    )


@dataclass(frozen=True, slots=True)
class VisitCare:
    """One visit of a course, and what was done, planned and reported at it."""

    visit: Examination
    entries: tuple[CareShown, ...]


def care_of_visits(visits: Iterable[Examination]) -> tuple[VisitCare, ...]:
    """The visits at which something was; what was discarded is left out."""
    kept = (visit for visit in visits if visit.state != Examination.State.DISCARDED)
    found = (VisitCare(visit, care_shown(current(visit))) for visit in kept)
    return tuple(one for one in found if one.entries)
