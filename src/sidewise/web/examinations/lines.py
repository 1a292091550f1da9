"""The lines of the lists: a visit, or a patient with the last visit, and what stands in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sidewise.note.list_line import EarlierFlag, ListLine, list_line, unresolved_flags
from sidewise.reason.result import RedFlag
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import current
from sidewise.web.patients.models import Patient


@dataclass(frozen=True, slots=True)
class VisitLine:
    """One visit with what a list says of it."""

    visit: Examination
    said: ListLine


@dataclass(frozen=True, slots=True)
class PatientLine:
    """One patient with the last visit that was not discarded, or none yet."""

    patient: Patient
    last: VisitLine | None


@dataclass(frozen=True, slots=True)
class PatientFlags:
    """What stands over a patient: flags of the last visit, and what earlier ones left open."""

    last: Examination
    """The visit that raised them."""
    raised: tuple[RedFlag, ...]
    """The most urgent first."""
    earlier: tuple[EarlierFlag, ...]
    """Raised before, and not excluded since."""


def visit_lines(visits: Iterable[Examination]) -> tuple[VisitLine, ...]:
    """A line for each visit, in their order; of a patient's earlier visits what they left open."""
    listed = list(visits)
    all_of = _visits_of({visit.patient_id for visit in listed})
    return tuple(_line(visit, all_of[visit.patient_id]) for visit in listed)


def patient_lines(patients: Iterable[Patient]) -> tuple[PatientLine, ...]:
    """A line for each patient, in their order; two queries and one for each ledger.

    Every visit is read, not the last alone: what an old one raised may never have been excluded.
    """
    listed = list(patients)
    all_of = _visits_of({one.pk for one in listed})
    return tuple(
        PatientLine(one, _line(visits[-1], visits) if (visits := all_of[one.pk]) else None)
        for one in listed
    )


def own_lines(visits: Iterable[Examination]) -> tuple[VisitLine, ...]:
    """A line for each visit with its own flags alone; of a discarded one none is said."""
    return tuple(VisitLine(visit, _own(visit)) for visit in visits)


def patient_flags(visits: Iterable[Examination]) -> PatientFlags | None:
    """The flags over a patient with these visits; None if nothing was raised and left open."""
    kept = [one for one in visits if one.state != Examination.State.DISCARDED]
    if not kept:
        return None
    last = max(kept, key=lambda one: one.examined_at)
    raised = tuple(flag for flag in _flags(last) if flag.status == "raised")
    earlier = _earlier(last, sorted(kept, key=lambda one: one.examined_at))
    return PatientFlags(last, raised, earlier) if raised or earlier else None


def _own(visit: Examination) -> ListLine:
    now = current(visit)
    is_kept = visit.state != Examination.State.DISCARDED
    return list_line(now.record, now.protocol, now.completeness.flags if is_kept else ())


def _visits_of(patients: set[int]) -> dict[int, list[Examination]]:
    found: dict[int, list[Examination]] = {key: [] for key in patients}
    visits = Examination.objects.filter(patient__in=patients)
    for visit in visits.exclude(state=Examination.State.DISCARDED).order_by("examined_at"):
        found[visit.patient_id].append(visit)
    return found


def _line(visit: Examination, visits: Iterable[Examination]) -> VisitLine:
    now = current(visit)
    flags = now.completeness.flags
    return VisitLine(visit, list_line(now.record, now.protocol, flags, _earlier(visit, visits)))


def _earlier(visit: Examination, visits: Iterable[Examination]) -> tuple[EarlierFlag, ...]:
    """Of the visits before this one; another region's visit has other flags and excludes none."""
    alike = [
        one
        for one in visits
        if one.region == visit.region
        and one.examined_at <= visit.examined_at
        and one.pk != visit.pk
    ]
    return unresolved_flags([(one.examined_at, _flags(one)) for one in (*alike, visit)])


def _flags(visit: Examination) -> tuple[RedFlag, ...]:
    return tuple(current(visit).completeness.flags)
