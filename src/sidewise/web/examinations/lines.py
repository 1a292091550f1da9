"""The lines of the lists: a visit, or a patient with the last visit, and what stands in it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sidewise.note.list_line import ListLine, list_line
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


def visit_lines(visits: Iterable[Examination]) -> tuple[VisitLine, ...]:
    """A line for each visit, in their order."""
    return tuple(_line(visit) for visit in visits)


def patient_lines(patients: Iterable[Patient]) -> tuple[PatientLine, ...]:
    """A line for each patient, in their order; two queries and one for each ledger."""
    listed = list(patients)
    visits = Examination.objects.filter(patient__in=[one.pk for one in listed])
    last: dict[int, Examination] = {}
    for visit in visits.exclude(state=Examination.State.DISCARDED).order_by("examined_at"):
        last[visit.patient_id] = visit
    return tuple(
        PatientLine(one, _line(last[one.pk]) if one.pk in last else None) for one in listed
    )


def _line(visit: Examination) -> VisitLine:
    now = current(visit)
    return VisitLine(visit, list_line(now.record, now.protocol, now.completeness.flags))
