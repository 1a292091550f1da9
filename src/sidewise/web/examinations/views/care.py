"""What was done and is planned, what tests showed, and scores: one page, plain forms."""

from __future__ import annotations

import re
from dataclasses import dataclass
from uuid import UUID, uuid4

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.record.care import CareEntry
from sidewise.record.ledger import Cared, Deed, Entry, Undone
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.binding import gathered
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.care_forms import FORMS, CareForm
from sidewise.web.examinations.care_shown import CareShown, care_shown
from sidewise.web.examinations.models import Examination, HeldEntry
from sidewise.web.examinations.queue import held_of, settle
from sidewise.web.examinations.state import Current, add, current
from sidewise.web.examinations.statements import ScalesForm, entries_of_form, states_text
from sidewise.web.pages import show, values

SCORES = "scores"


@dataclass(frozen=True, slots=True)
class CareSection:
    """One form of the page, folded away until it is wanted."""

    id: str
    """Which of the forms."""
    title: str
    """Its heading."""
    button: str
    """What its button says."""
    form: CareForm
    """The form."""
    is_wrong: bool
    """Whether it was sent and is shown again: it could not be recorded, or is looked at first."""
    touch: str
    """The id of its entry: sent twice, it counts once."""
    held: HeldEntry | None = None
    """What it was held as, where it was filled in without network."""


@dataclass(frozen=True, slots=True)
class CarePage(BedsidePage):
    """What the page of done and planned is given."""

    care: tuple[CareShown, ...]
    """What is recorded, oldest first."""
    sections: tuple[CareSection, ...]
    """The forms, by what they record."""
    scales: ScalesForm
    """Pain and function as numbers."""
    states: str
    """What the form of scores shows and which entries hold it."""


TITLES = {
    "step": (
        _("Done or planned: film, referral, exercises, advice, next visit"),
        _("record the step"),
    ),
    "injection": (_("Injection given"), _("record the injection")),
    "investigation": (_("Result of a test"), _("record the result")),
    "score": (_("Total of another questionnaire"), _("record the total")),
}


@require_http_methods(["GET", "POST"])
def care(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Everything recorded, and a form for each kind of entry."""
    is_post = request.method == "POST"
    examination, may_write = allowed_examination(request.user, pk, write=is_post)
    now = current(examination)
    if not is_post:
        return _page(request, examination, now, may_write)
    if now.record.signed is not None or now.folded.discarded is not None:
        raise Http404("This record is closed.")
    if undone := request.POST.get("undo", ""):
        return _undo(request, examination, now, undone)
    if SCORES in request.POST:
        return _state(request, examination, now, may_write)
    kind = request.POST.get("kind", "")
    if kind not in FORMS:
        error = UserError("the form", kind, f"one of {', '.join(FORMS)}")
        return HttpResponse(error.message, status=400, content_type="text/plain; charset=utf-8")
    form = FORMS[kind](now, request.POST)
    if "review" in request.POST:
        return _page(request, examination, now, may_write, form)
    return _record(request, examination, now, may_write, form)


def _record(
    request: SignedInRequest, examination: Examination, now: Current, may_write: bool,
    form: CareForm,
) -> HttpResponse:  # fmt: skip
    made = form.entry() if form.is_valid() else None
    if made is not None:
        try:
            _store(request, examination, made)
            return _back(request, examination)
        except UserError as error:
            # What was raised meanwhile stands in the form that is shown.
            now = current(examination)
            form = type(form)(now, request.POST)
            form.is_valid()
            form.add_error(None, error.message)
    return _page(request, examination, now, may_write, form)


def _store(request: SignedInRequest, examination: Examination, made: CareEntry) -> None:
    with gathered():
        add(examination, [_entry(request, Cared(entry=made), request.POST.get("touch", ""))])
        if held := held_of(request.POST.get("held", ""), examination):
            settle(held, request.user.username, "add")


def _back(request: SignedInRequest, examination: Examination) -> HttpResponse:
    if request.htmx:
        # A script cannot see where a redirect leads.
        return HttpResponse(headers={"HX-Redirect": reverse("care", args=[examination.pk])})
    return redirect("care", pk=examination.pk)


def _state(
    request: SignedInRequest, examination: Examination, now: Current, may_write: bool
) -> HttpResponse:
    form = ScalesForm(now, request.POST)
    if not form.is_valid():
        return _page(request, examination, now, may_write, scales=form)
    if entries := entries_of_form(form, request.POST, now, request.user.signs_as):
        add(examination, entries)
    return redirect("care", pk=examination.pk)


def _undo(
    request: SignedInRequest, examination: Examination, now: Current, text: str
) -> HttpResponse:
    # Only what is on this page is taken back from it.
    names = tuple(name for name in text.split() if name in now.folded.care)
    if names:
        add(examination, [_entry(request, Undone(entries=names))])
    return redirect("care", pk=examination.pk)


def _entry(request: SignedInRequest, deed: Deed, touch: str = "") -> Entry:
    name = touch if re.fullmatch(r"[0-9a-f]{32}", touch) else uuid4().hex
    return Entry(id=name, at=timezone.now(), by=request.user.signs_as, deed=deed)


def _titles(kind: str) -> tuple[str, str]:
    title, button = TITLES[kind]
    return str(title), str(button)


def _page(
    request: SignedInRequest, examination: Examination, now: Current, may_write: bool,
    wrong: CareForm | None = None, scales: ScalesForm | None = None,
) -> HttpResponse:  # fmt: skip
    page = bedside_page(request, examination, now, may_write, "care")
    held = held_of(request.POST.get("held", ""), examination)
    sections = tuple(
        CareSection(kind, *_titles(kind), wrong, True, uuid4().hex, held)
        if wrong is not None and wrong.kind == kind
        else CareSection(kind, *_titles(kind), form(now), False, uuid4().hex)
        for kind, form in FORMS.items()
    )
    form = scales or ScalesForm(now)
    states = request.POST.get("states", "") if scales else states_text(form, now.folded)
    context = CarePage(
        **values(page), care=care_shown(now), sections=sections, scales=form, states=states
    )
    status = 422 if wrong is not None or scales is not None else 200
    return show(request, "examinations/care.html", context, status=status)
