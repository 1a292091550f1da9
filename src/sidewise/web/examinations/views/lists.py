"""Patients by code, with age, complaint, the flag that matters most, and the last visit."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpResponse
from django.views.decorators.http import require_http_methods

from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.examinations.lines import PatientLine, patient_lines
from sidewise.web.pages import show
from sidewise.web.patients.access import patients_of

SHOWN = 30
"""Patients on one page: each shows its last visit, which has to be read."""


@dataclass(frozen=True, slots=True)
class PatientsPage:
    """What the list of patients is given."""

    patients: tuple[PatientLine, ...]
    """Those whose code fits."""
    wanted: str
    """What was looked for."""
    more: bool
    """Whether more fit than are shown."""


@require_http_methods(["GET", "POST"])
def patients(request: SignedInRequest) -> HttpResponse:
    """Patients by code. A search is posted, so that no code stands in an address or a log."""
    wanted = request.POST.get("code", "").strip()
    found = patients_of(request.user).order_by("code")
    if wanted:
        found = found.filter(code__icontains=wanted)
    context = PatientsPage(patient_lines(found[:SHOWN]), wanted, more=found.count() > SHOWN)
    template = "list_part" if request.htmx else "list"
    return show(request, f"patients/{template}.html", context)
