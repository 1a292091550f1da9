"""Why the person came: context, the questions (flag questions first) and vital signs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from django.http import Http404, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.protocol import HistoryItem
from sidewise.record.ledger import Entry, Stated
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.forms import ContextForm
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.pieces import fill_in
from sidewise.web.examinations.state import Current, add, current
from sidewise.web.examinations.statements import (
    NoneOfThese,
    VitalsForm,
    about_form,
    entries_of_form,
    entries_of_none,
    none_of_these,
    question_piece,
    states_text,
)
from sidewise.web.pages import show, values


@dataclass(frozen=True, slots=True)
class QuestionGroup:
    """Questions that are opened together."""

    label: str
    """Its name."""
    count: int
    """How many there are."""
    questions: SafeString
    """The questions as they stand on the page."""


@dataclass(frozen=True, slots=True)
class HistoryPage(BedsidePage):
    """What the page of the history is given."""

    core: SafeString
    """The questions asked of everybody."""
    none: NoneOfThese
    """Those of them that one touch answers with no."""
    groups: tuple[QuestionGroup, ...]
    """The others by group."""
    form: VitalsForm
    """The vital signs."""
    states: str
    """What the form shows and which entries hold it."""


@dataclass(frozen=True, slots=True)
class AboutPage(BedsidePage):
    """What the page of age, sides and setting is given."""

    form: ContextForm
    """The fields."""
    states: str
    """What the form shows and which entries hold it."""


@require_GET
@gzip_page
def show_history(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The core questions first, then the others by group, then vital signs."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    form = VitalsForm(now)
    return _history(request, examination, now, may_write, form, states_text(form, now.folded))


def _history(
    request: SignedInRequest, examination: Examination, now: Current, may_write: bool,
    form: VitalsForm, states: str, status: int = 200,
) -> HttpResponse:  # fmt: skip
    page = bedside_page(request, examination, now, may_write, "history")
    asked = now.protocol.history
    grouped: dict[str, list[HistoryItem]] = {}
    for item in asked:
        if not item.core:
            grouped.setdefault(item.group, []).append(item)
    context = HistoryPage(
        **values(page),
        core=_questions(request, page, [item for item in asked if item.core]),
        none=none_of_these(now),
        groups=tuple(
            QuestionGroup(label, len(items), _questions(request, page, items))
            for label, items in grouped.items()
        ),
        form=form,
        states=states,
    )
    return show(request, "examinations/history.html", context, status=status)


def _questions(request: SignedInRequest, page: BedsidePage, items: list[HistoryItem]) -> SafeString:
    texts = (question_piece(page.bed.now, item, page.bed.is_open) for item in items)
    return fill_in("".join(texts), page.examination.pk, get_token(request))


@require_POST
def answer(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Stated by a plain form: a question answered, one of several answers kept, none of these."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    if "answers" in request.POST:
        return _none_of_these(request, examination)
    field, word = request.POST.get("state", ""), request.POST.get("answer")
    replaces = tuple(request.POST.get("replaces", "").split())
    try:
        if word is None:
            raise UserError("the form", None, "an answer")
        deed = Stated(field=field, value=word, replaces=replaces)
        entry = Entry(id=uuid4().hex, at=timezone.now(), by=request.user.signs_as, deed=deed)
        now = current(examination)
        _refuse_closed(now)
        add(examination, [entry])
    except UserError as error:
        return HttpResponse(error.message, status=400, content_type="text/plain; charset=utf-8")
    table, _, name = field.partition(".")
    if table not in ("history", "vitals"):
        return redirect("about", pk=pk)
    place = f"q-{name}" if table == "history" else "vitals"
    return redirect(f"{reverse('history', kwargs={'pk': pk})}#{place}")


def _none_of_these(request: SignedInRequest, examination: Examination) -> HttpResponse:
    now = current(examination)
    _refuse_closed(now)
    # What is open is looked up now: a form kept open answers nothing that was answered since.
    if entries := entries_of_none(now, request.user.signs_as, request.POST["answers"]):
        add(examination, entries)
    return redirect(f"{reverse('history', kwargs={'pk': examination.pk})}#none-of-these")


@require_POST
def set_vitals(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The vital signs that were taken; a field left empty was not taken."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    form = VitalsForm(now, request.POST)
    if not form.is_valid():
        states = request.POST.get("states", "")
        return _history(request, examination, now, may_write, form, states, status=422)
    _state(request, examination, now, form)
    return redirect(f"{reverse('history', kwargs={'pk': pk})}#vitals")


@require_http_methods(["GET", "POST"])
def about(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Age, sex, writing hand, complaint and setting."""
    is_post = request.method == "POST"
    examination, may_write = allowed_examination(request.user, pk, write=is_post)
    now = current(examination)
    form = about_form(now, request.POST if is_post else None)
    if is_post and form.is_valid():
        _state(request, examination, now, form)
        return redirect("about", pk=pk)
    page = bedside_page(request, examination, now, may_write, "about")
    states = request.POST.get("states", "") if is_post else states_text(form, now.folded)
    context = AboutPage(**values(page), form=form, states=states)
    status = 422 if form.is_bound else 200
    return show(request, "examinations/about.html", context, status=status)


def _state(request: SignedInRequest, examination: Examination, now: Current, form: Any) -> None:
    try:
        _refuse_closed(now)
        if entries := entries_of_form(form, request.POST, now, request.user.signs_as):
            add(examination, entries)
    except UserError as error:
        # The page offers no such touch; a form kept open over a signature can send one.
        raise Http404(error.message) from None


def _refuse_closed(now: Current) -> None:
    if now.record.signed is not None or now.folded.discarded is not None:
        raise Http404("This record is closed.")
