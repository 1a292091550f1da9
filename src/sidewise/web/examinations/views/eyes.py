"""Two clinicians' readings of one patient side by side, from two visits or within one."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpResponse
from django.views.decorators.http import require_GET

from sidewise.errors import UserError
from sidewise.note.two_readers import TwoReaders, readers_of, reading_by, two_readers
from sidewise.record import Record
from sidewise.regions import region_of_record
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import current
from sidewise.web.pages import show
from sidewise.web.patients.access import allowed
from sidewise.web.patients.models import Patient


@dataclass(frozen=True, slots=True)
class EyesPage:
    """What the page of two clinicians' readings is given."""

    patient: Patient
    """Whose readings."""
    visits: tuple[Examination, ...]
    """The visits to choose from, the latest first."""
    chosen: tuple[str, str]
    """The keys of the two that were chosen; twice the same for two who examined in one visit."""
    found: TwoReaders | None
    """The readings side by side."""
    why_not: str
    """Why there are none."""


@require_GET
def eyes(request: SignedInRequest, key: UUID) -> HttpResponse:
    """The readings of two visits, or of the two who examined in one; never who is right."""
    who = allowed(request.user, key)
    visits = who.patient.examinations.exclude(state=Examination.State.DISCARDED)
    by_key = {str(visit.pk): visit for visit in visits}
    keys = [*by_key]
    # A choice left empty, as a form without a touch sends it, is the latest visit too.
    chosen = tuple(request.GET.get(name) or (keys[0] if keys else "") for name in ("a", "b"))
    if any(name and name not in by_key for name in chosen):
        raise Http404
    found, why_not = None, "There is no visit yet."
    if keys:
        try:
            first, second = _two(*(current(by_key[name]).record for name in chosen))
            found, why_not = two_readers(first, second, region_of_record(first)), ""
        except UserError as error:
            why_not = error.message
    page = EyesPage(who.patient, tuple(by_key.values()), (chosen[0], chosen[1]), found, why_not)
    return show(request, "examinations/visits/eyes.html", page)


def _count(readers: tuple[str, ...]) -> str:
    return "one clinician" if len(readers) == 1 else f"{len(readers)} clinicians"


def _two(first: Record, second: Record) -> tuple[Record, Record]:
    if first.id != second.id:
        return first, second
    readers = readers_of(first)
    if len(readers) != 2:
        raise UserError("this visit", f"findings of {_count(readers)}", "of two",
                        "Choose two visits of different clinicians.")  # fmt: skip
    one, other = (reading_by(first, name) for name in readers)
    return one, other
