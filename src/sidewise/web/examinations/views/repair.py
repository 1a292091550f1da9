"""The wrong patient, the wrong side: a whole visit put right, for a reason that stays visible."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.record.repair import injected_sides, words_with_sides
from sidewise.web.accounts.permissions import SignedInRequest, stepped_up
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.repair import (
    exchange_sides,
    later_visits_that_carried,
    move_visit,
    patient_to_write,
)
from sidewise.web.examinations.signing_state import end_of
from sidewise.web.examinations.state import current
from sidewise.web.examinations.views.signing import ReasonForm
from sidewise.web.pages import show, values


class MoveForm(ReasonForm):
    """Whose visit it is, and why it stood elsewhere."""

    code = forms.CharField(
        max_length=60, label=_("Code of the patient whose visit it is"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    field_order = ("code", "reason")


@dataclass(frozen=True, slots=True)
class RepairPage(BedsidePage):
    """What the page of a repair is given."""

    form: forms.Form
    """The reason, and the code where the visit is moved."""
    what: str
    """What is put right: "mirror" or "move"."""
    error: str
    """Why it could not be done."""
    seen: str
    """Where the ledger ends as this page shows it."""
    texts: tuple[str, ...]
    """Free texts that name a side: they stay as they were typed."""
    injected: tuple[str, ...]
    """The side of each injection given, as it is recorded now."""
    carried_by: tuple[Examination, ...]
    """Later visits of this patient that carried something from this one."""


@require_http_methods(["GET", "POST"])
@stepped_up
def mirror(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Exchange right and left in the whole visit."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    form = ReasonForm(request.POST or None)
    error = ""
    if request.method == "POST" and form.is_valid():
        reason, seen = form.cleaned_data["reason"], request.POST.get("seen", "")
        try:
            exchange_sides(examination, request.user, reason, seen)
        except UserError as refused:
            error = refused.message
        else:
            messages.info(request, _("Right and left were exchanged. Look it through, then sign."))
            return redirect("examination", pk=pk)
    return _page(request, examination, may_write, form, "mirror", error)


@require_http_methods(["GET", "POST"])
@stepped_up
def move(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Move the visit to the patient whose it is."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    form = MoveForm(request.POST or None)
    error = ""
    if request.method == "POST" and form.is_valid():
        reason, seen = form.cleaned_data["reason"], request.POST.get("seen", "")
        try:
            target = patient_to_write(request.user, form.cleaned_data["code"])
            move_visit(examination, target, request.user, reason, seen)
        except UserError as refused:
            error = refused.message
        else:
            messages.info(request, _("The visit was moved. Look through what is stated of the "
                                 "patient, then sign."))  # fmt: skip
            return redirect("about", pk=pk)
    return _page(request, examination, may_write, form, "move", error)


def _page(
    request: SignedInRequest, examination: Examination, may_write: bool, form: forms.Form,
    what: str, error: str,
) -> HttpResponse:  # fmt: skip
    now = current(examination)
    page = bedside_page(request, examination, now, may_write, "put right")
    moving = what == "move"
    context = RepairPage(
        **values(page), form=form, what=what, error=error, seen=end_of(now),
        texts=() if moving else tuple(words_with_sides(now.record)),
        injected=() if moving else injected_sides(now.record),
        carried_by=later_visits_that_carried(examination, examination.patient) if moving else (),
    )  # fmt: skip
    status = 422 if error or form.errors else 200
    return show(request, "examinations/repair.html", context, status=status)
