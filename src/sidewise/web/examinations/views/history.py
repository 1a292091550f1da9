"""Why the person came: context, the questions (flag questions first) and vital signs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.protocol import HistoryItem
from sidewise.record.ledger import ContextSet, Entry
from sidewise.web.examinations.bedside import bedside_context
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.store import append
from sidewise.web.patients.access import allowed_examination
from sidewise.web.patients.forms import ContextForm, initial_of

ANSWERS = ("no", "yes", "unsure", "not asked")


class Question:
    """One question and its answer so far."""

    def __init__(self, item: HistoryItem, answer: str) -> None:
        self.item = item
        self.answer = answer
        self.answers = [(word, word == answer) for word in ANSWERS]


@require_GET
@gzip_page
def show_history(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The core questions first, then the others by group, then vital signs."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    context = bedside_context(request, examination, now, may_write, "history")
    context |= {"form": VitalsForm(now), **_questions(now)}
    return render(request, "examinations/history.html", context)


def _questions(now: Current) -> dict[str, Any]:
    asked = [Question(q, now.record.context.answer(q.id)) for q in now.protocol.history]
    groups: dict[str, list[Question]] = {}
    for question in asked:
        if not question.item.core:
            groups.setdefault(question.item.group, []).append(question)
    return {"core": [q for q in asked if q.item.core], "groups": list(groups.items())}


@require_POST
def answer(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One question answered; with `all_no`, every core question still open answered no."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    known = {question.id: question for question in now.protocol.history}
    name, word = request.POST.get("question", ""), request.POST.get("answer", "")
    if name not in known or word not in ANSWERS:
        return HttpResponse("A question of the protocol, answered yes, no, unsure or not asked.",
                            status=400)  # fmt: skip
    history = {**now.record.context.history, name: word}
    _set(examination, request.user, {"history": history})
    if not request.htmx:
        return redirect(f"{_address('history', pk)}#q-{name}")
    after = current(examination)
    context = bedside_context(request, examination, after, may_write, "history")
    context |= {"question": Question(known[name], word)}
    return render(request, "examinations/answered.html", context)


class VitalsForm(forms.Form):
    """Vital signs of the whole person, each within what is possible at all."""

    def __init__(self, now: Current, data: Any = None) -> None:
        super().__init__(data, initial=now.record.context.vitals)
        for vital in now.protocol.vitals:
            self.fields[vital.id] = forms.FloatField(
                required=False,
                min_value=vital.low,
                max_value=vital.high,
                label=f"{vital.label}, {vital.unit}",
                widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 6}),
                error_messages=dict.fromkeys(
                    ("invalid", "min_value", "max_value"),
                    f"{vital.unit} from {vital.low:g} to {vital.high:g}; check the unit and "
                    "the decimal point.",
                ),
            )


@require_POST
def set_vitals(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The vital signs that were taken; a field left empty was not taken."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    form = VitalsForm(now, request.POST)
    if not form.is_valid():
        context = bedside_context(request, examination, now, may_write, "history")
        context |= {"form": form, **_questions(now)}
        template = "vitals" if request.htmx else "history"
        return render(request, f"examinations/{template}.html", context, status=422)
    taken = {name: number for name, number in form.cleaned_data.items() if number is not None}
    _set(examination, request.user, {"vitals": taken})
    if not request.htmx:
        return redirect("history", pk=pk)
    context = bedside_context(request, examination, current(examination), may_write, "history")
    context |= {"form": VitalsForm(current(examination)), "vitals_saved": True}
    return render(request, "examinations/vitals.html", context)


@require_http_methods(["GET", "POST"])
def about(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Age, sex, writing hand, complaint and setting."""
    is_post = request.method == "POST"
    examination, may_write = allowed_examination(request.user, pk, write=is_post)
    now = current(examination)
    form = ContextForm(request.POST if is_post else None, initial=initial_of(now.record.context))
    if is_post and form.is_valid():
        _set(examination, request.user, form.changes())
        return redirect("about", pk=pk)
    context = bedside_context(request, examination, now, may_write, "about")
    status = 422 if form.is_bound else 200
    return render(request, "examinations/about.html", context | {"form": form}, status=status)


def _set(examination: Examination, user: Any, changes: dict[str, Any]) -> None:
    deed = ContextSet(changes=changes)
    entry = Entry(id=uuid4().hex, at=timezone.now(), by=user.signs_as, deed=deed)
    _append(examination, [entry])


def _append(examination: Examination, entries: Iterable[Entry]) -> None:
    try:
        append(examination, entries)
    except UserError as error:
        # The page offers no such touch; a form kept open over a signature can send one.
        raise Http404(error.message) from None


def _address(name: str, pk: UUID) -> str:
    from django.urls import reverse

    return reverse(name, kwargs={"pk": pk})
