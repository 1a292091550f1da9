"""With which colleagues a patient is shared, to read or to read and write."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django import forms
from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from sidewise.web.accounts.models import User
from sidewise.web.accounts.permissions import SignedInRequest, stepped_up
from sidewise.web.accounts.rules import sees_patients
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.pages import show
from sidewise.web.patients.access import allowed
from sidewise.web.patients.models import Patient, Share

NOBODY = "No other clinician here has this user name."
RIGHTS = (("", "choose"), ("read", "read"), ("write", "read and write"))


class PatientShareForm(forms.Form):
    """A colleague by user name, and what they may do; neither is chosen beforehand."""

    name = forms.CharField(max_length=150, label=_("User name of a colleague who examines here"))
    right = forms.ChoiceField(choices=RIGHTS, label=_("May"))


@dataclass(frozen=True, slots=True)
class SharePage:
    """What the page of a patient's shares is given."""

    patient: Patient
    """Which patient."""
    form: PatientShareForm
    """What was typed."""
    shares: tuple[Share, ...]
    """Who has a share now."""


@require_http_methods(["GET", "POST"])
@stepped_up
def share(request: SignedInRequest, key: UUID) -> HttpResponse:
    """Share with a colleague, or end it; only whose patient it is."""
    patient = allowed(request.user, key).patient
    if patient.owner_id != request.user.pk:
        raise PermissionDenied
    if "end" in request.POST:
        _end(patient, request.POST["end"])
        return redirect("share", key=key)
    form = PatientShareForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        colleague = _colleague(form.cleaned_data["name"], request.user)
        if colleague is not None:
            _give(patient, colleague, may_write=form.cleaned_data["right"] == "write")
            return redirect("share", key=key)
        form.add_error("name", NOBODY)
    shares = patient.shares.select_related("user").order_by("user__username")
    page = SharePage(patient, form, tuple(shares))
    return show(request, "patients/share.html", page, status=422 if form.is_bound else 200)


def _colleague(name: str, owner: User) -> User | None:
    found = User.objects.filter(username=name.strip(), is_active=True).first()
    return found if found is not None and found != owner and sees_patients(found) else None


def _give(patient: Patient, colleague: User, *, may_write: bool) -> None:
    with gathered():
        Share.objects.update_or_create(
            patient=patient, user=colleague, defaults={"may_write": may_write}
        )
        write(Act.WRITE, f"patient-share:{patient.pk}/{colleague.pk}")


def _end(patient: Patient, number: str) -> None:
    with gathered():
        Share.objects.filter(patient=patient, pk=int(number) if number.isdecimal() else 0).delete()
        write(Act.WRITE, f"patient-share:{patient.pk}")
