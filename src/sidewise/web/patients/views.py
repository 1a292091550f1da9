"""A new patient, known by a code."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.pages import show
from sidewise.web.patients.forms import PatientForm
from sidewise.web.patients.models import Patient


@dataclass(frozen=True, slots=True)
class NewPatientPage:
    """What the page of a new patient is given."""

    form: PatientForm
    """The code."""


@require_http_methods(["GET", "POST"])
def new_patient(request: SignedInRequest) -> HttpResponse:
    """A new patient, known by a code."""
    form = PatientForm(request.user, request.POST or None)
    if request.method == "POST" and form.is_valid():
        patient = Patient.objects.create(code=form.cleaned_data["code"], owner=request.user)
        return redirect("new-examination", key=patient.key)
    status = 422 if form.is_bound else 200
    return show(request, "patients/new.html", NewPatientPage(form), status=status)
