"""Signing, amending with a reason, discarding with a reason, and the clinician's own words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.protocol import Item
from sidewise.reason.result import RedFlag
from sidewise.record.ledger import Amended, Concluded, Deed, Discarded, Entry, Signed
from sidewise.record.model import Conclusion
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.store import append
from sidewise.web.pages import show, values
from sidewise.web.patients.access import allowed_examination

DONE = {
    "amend": "Open again; the signed revision is kept.",
    "discard": "Discarded; kept out of sight.",
}


class ReasonForm(forms.Form):
    """Why a signed record is opened again, or a draft given up."""

    reason = forms.CharField(
        min_length=3, max_length=500, label="Reason", widget=forms.TextInput(attrs={"size": 40}),
        error_messages=dict.fromkeys(("required", "min_length"), "Say why, in a few words."),
    )  # fmt: skip


class ConclusionForm(forms.Form):
    """The clinician's own impression and plan, kept apart from anything computed."""

    impression = forms.CharField(
        required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 3})
    )
    plan = forms.CharField(
        required=False, max_length=4000, label="Plan, one step a line",
        widget=forms.Textarea(attrs={"rows": 4}),
    )  # fmt: skip

    def conclusion(self) -> Conclusion:
        """The form as a conclusion."""
        steps = [line.strip() for line in self.cleaned_data["plan"].splitlines()]
        return Conclusion(
            impression=self.cleaned_data["impression"].strip(), plan=tuple(filter(None, steps))
        )


@dataclass(frozen=True, slots=True)
class SignPage(BedsidePage):
    """What the page before a signature is given."""

    form: ConclusionForm
    """The clinician's own words."""
    error: str
    """Why it could not be signed."""
    missing: tuple[tuple[str, list[str]], ...]
    """What is not examined, by stage."""
    not_excluded: tuple[RedFlag, ...]
    """Flags that are still open."""
    conflicts: tuple[tuple[Item, str], ...]
    """Items and sides at which two values contradict each other."""


@dataclass(frozen=True, slots=True)
class ReasonPage(BedsidePage):
    """What the page that asks for a reason is given."""

    form: ReasonForm
    """The reason."""
    what: str
    """What it is a reason for."""
    error: str
    """Why it could not be done."""


@require_http_methods(["GET", "POST"])
def sign(request: HttpRequest, pk: UUID) -> HttpResponse:
    """What is still open, said again, then the signature."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    written = now.record.conclusion
    start = {"impression": written.impression, "plan": "\n".join(written.plan)}
    form = ConclusionForm(request.POST or None, initial=start)
    error = ""
    if request.method == "POST" and form.is_valid():
        deeds: list[Deed] = [Concluded(conclusion=form.conclusion())]
        if "sign" in request.POST:
            deeds.append(Signed())
        error = _do(examination, request.user, *deeds)
        if not error:
            return redirect("note" if "sign" in request.POST else "examination", pk=pk)
    page = bedside_page(request, examination, now, may_write, "sign")
    context = SignPage(**values(page), form=form, error=error, **_still_open(now))
    status = 422 if error or form.errors else 200
    return show(request, "examinations/sign.html", context, status=status)


def _still_open(now: Current) -> dict[str, Any]:
    sides: dict[str, dict[str, dict[str, None]]] = {}
    for entry in now.completeness.missing:
        stage = sides.setdefault(str(entry.item.stage), {})
        stage.setdefault(entry.item.label, {})[entry.side] = None
    missing = {stage: [_named(*pair) for pair in items.items()] for stage, items in sides.items()}
    flags = now.completeness.flags
    labels = now.protocol.by_id
    return {
        "missing": tuple(missing.items()),
        "not_excluded": tuple(flag for flag in flags if flag.status == "not excluded"),
        "conflicts": tuple((labels[c.item], c.side) for c in now.record.conflicts),
    }


def _named(label: str, sides: Any) -> str:
    """An item by name; with its side where only one is open."""
    one = [side for side in sides if side != "midline"]
    return f"{label} ({one[0]})" if len(one) == 1 else label


@require_http_methods(["GET", "POST"])
def amend(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Open a signed revision again, for a reason; the signed one stays readable."""
    return _with_reason(request, pk, "amend", lambda reason: Amended(reason=reason))


@require_http_methods(["GET", "POST"])
def discard(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Give up a draft, for a reason; its ledger is kept."""
    return _with_reason(request, pk, "discard", lambda reason: Discarded(reason=reason))


def _with_reason(request: HttpRequest, pk: UUID, what: str, deed: Any) -> HttpResponse:
    examination, may_write = allowed_examination(request.user, pk, write=True)
    form = ReasonForm(request.POST or None)
    error = ""
    if request.method == "POST" and form.is_valid():
        error = _do(examination, request.user, deed(form.cleaned_data["reason"]))
        if not error:
            messages.info(request, DONE[what])
            place = "examination" if what == "amend" else "patient"
            keys = {"pk": pk} if what == "amend" else {"key": examination.patient.key}
            return redirect(place, **keys)
    page = bedside_page(request, examination, current(examination), may_write, what)
    context = ReasonPage(**values(page), form=form, what=what, error=error)
    status = 422 if error or form.errors else 200
    return show(request, "examinations/reason.html", context, status=status)


def _do(examination: Examination, user: Any, *deeds: Deed) -> str:
    at, by = timezone.now(), user.signs_as
    try:
        append(examination, [Entry(id=uuid4().hex, at=at, by=by, deed=deed) for deed in deeds])
    except UserError as error:
        return error.message
    return ""
