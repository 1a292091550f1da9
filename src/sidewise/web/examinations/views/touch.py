"""One touch saved and answered: the row it changed, the strip, the flags, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST

from sidewise.errors import UserError
from sidewise.protocol import Item
from sidewise.record.ledger import Cared, Deed, Entry, Found, Stated, Undone
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.accounts.rules import takes_json
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page, rows_shown
from sidewise.web.examinations.care_shown import CareShown, care_shown
from sidewise.web.examinations.entries import entries_from_form, entries_from_json, in_form_words
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.pieces import fill_in
from sidewise.web.examinations.rows import row_of, slug
from sidewise.web.examinations.state import Current, add, current, examiner_of
from sidewise.web.examinations.statements import (
    NoneOfThese,
    ScalesForm,
    VitalsForm,
    about_form,
    none_of_these,
    question_piece,
    states_text,
)
from sidewise.web.examinations.together import SharedTouch, of_groups, of_stage
from sidewise.web.examinations.views.stage import item_page
from sidewise.web.pages import piece, show, values


@require_POST
@takes_json
def touch(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Entries from a script; answers the changed pieces of the page, or 422 with the reason."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    by = request.user.signs_as
    try:
        entries = entries_from_json(request.body, by, examiner_of(examination))
        now = add(examination, entries)
    except UserError as error:
        return _refused(in_form_words(error))
    return _answer(request, examination, now, entries)


@require_POST
def record(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The same from a plain form: back to the row, or the page with the reason (422)."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    form = request.POST.dict()
    by, examiner = request.user.signs_as, now.record.context.examiner
    try:
        entries = entries_from_form(form, now.folded, by, examiner)
        after = add(examination, entries)
    except UserError as error:
        return _page_with(request, examination, now, may_write, in_form_words(error))
    items = list(_items(entries, after))
    return _back(pk, now, items)


def _back(pk: UUID, now: Current, items: list[str]) -> HttpResponse:
    if not items:
        return redirect("examination", pk=pk)
    answer = redirect("stage", pk=pk, stage=slug(now, now.protocol.item(items[-1])))
    answer["Location"] += f"#row-{items[-1]}"
    return answer


def _items(entries: Iterable[Entry], now: Current) -> tuple[str, ...]:
    found = (deed.finding.item for deed in _deeds(entries, now) if isinstance(deed, Found))
    return tuple(dict.fromkeys(found))


def _fields(entries: Iterable[Entry], now: Current) -> tuple[str, ...]:
    stated = (deed.field for deed in _deeds(entries, now) if isinstance(deed, Stated))
    return tuple(dict.fromkeys(stated))


def _deeds(entries: Iterable[Entry], now: Current) -> Iterator[Deed]:
    """What was done, or taken back, by these entries."""
    for entry in entries:
        if isinstance(entry.deed, Undone):
            back = frozenset(entry.deed.entries)
            yield from (old.deed for old in now.entries if old.id in back)
        else:
            yield entry.deed


@dataclass(frozen=True, slots=True)
class TouchAnswer(BedsidePage):
    """What the answer to a touch is given."""

    rows: SafeString
    """The rows it changed, each to take the place of the one on the page."""
    questions: SafeString
    """The questions it changed."""
    none: NoneOfThese
    """The core questions still open."""
    forms: SafeString
    """The forms of the context it changed, with what they show now."""
    feet: tuple[SharedTouch, ...]
    """What is still open in each stage it changed."""
    heads: tuple[SharedTouch, ...]
    """The same of each group of these stages."""


def _answer(
    request: SignedInRequest, examination: Examination, now: Current, entries: list[Entry]
) -> HttpResponse:
    page = replace(bedside_page(request, examination, now, True, ""), oob=True)
    items = [now.protocol.by_id[name] for name in _items(entries, now)]
    fields = _fields(entries, now)
    stages = {item.stage: now.protocol.stage_of(item) for item in items}
    answer = TouchAnswer(
        **values(page),
        rows=rows_shown(request, page, (*items, *_opened(now, items)), swapped=True),
        questions=_questions(request, page, fields),
        none=none_of_these(now),
        forms=SafeString(_forms(request, page, fields) + _care(request, page, entries)),
        feet=tuple(of_stage(now, stage) for stage in stages.values()),
        heads=tuple(one for stage in stages.values() for one in of_groups(now, stage)),
    )
    return show(request, "examinations/answer.html", answer)


def _opened(now: Current, touched: list[Item]) -> list[Item]:
    """Rows of the touched stages that are called for now, or are no longer."""
    stages = {item.stage for item in touched}
    names = now.newly_called - {item.id for item in touched}
    return [item for item in now.protocol.items if item.id in names and item.stage in stages]


def _questions(request: SignedInRequest, page: BedsidePage, fields: tuple[str, ...]) -> SafeString:
    now = page.bed.now
    asked = [item for item in now.protocol.history if f"history.{item.id}" in fields]
    text = "".join(question_piece(now, item, page.bed.is_open) for item in asked)
    return fill_in(text, page.examination.pk, get_token(request), swapped=True)


def _forms(request: SignedInRequest, page: BedsidePage, fields: tuple[str, ...]) -> SafeString:
    tables = {field.partition(".")[0] for field in fields} - {"history"}
    now, texts = page.bed.now, []
    if "vitals" in tables:
        texts.append(_form(request, page, "vitals", VitalsForm(now)))
    if "scales" in tables:
        texts.append(_form(request, page, "scores", ScalesForm(now)))
    if tables - {"vitals", "scales"}:
        texts.append(_form(request, page, "about_form", about_form(now)))
    return SafeString("".join(texts))


@dataclass(frozen=True, slots=True)
class CarePiece(BedsidePage):
    """What the list of done and planned is given when it is sent again."""

    care: tuple[CareShown, ...]
    """What is recorded, oldest first."""


def _care(request: SignedInRequest, page: BedsidePage, entries: list[Entry]) -> str:
    now = page.bed.now
    if not any(isinstance(deed, Cared) for deed in _deeds(entries, now)):
        return ""
    context = CarePiece(**values(page), care=care_shown(now))
    return piece(request, "examinations/care_list.html", context)


@dataclass(frozen=True, slots=True)
class FormPiece(BedsidePage):
    """What a form of the context is given when it is sent again."""

    form: Any
    """The form as it stands."""
    states: str
    """What it shows and which entries hold it."""


def _form(request: SignedInRequest, page: BedsidePage, template: str, form: Any) -> str:
    states = states_text(form, page.bed.now.folded)
    context = FormPiece(**values(page), form=form, states=states)
    return piece(request, f"examinations/{template}.html", context)


@dataclass(frozen=True, slots=True)
class RefusedPage(BedsidePage):
    """What the page of a refused form is given, where no item is named."""

    error: str
    """Why, in words."""


def _refused(error: UserError) -> HttpResponse:
    # The script shows it as text, so nothing is escaped here.
    return HttpResponse(error.message, status=422, content_type="text/plain; charset=utf-8")


def _page_with(
    request: SignedInRequest,
    examination: Examination,
    now: Current,
    may_write: bool,
    error: UserError,
) -> HttpResponse:
    place = request.POST.get("places", "").split(";")[0].split()
    item = now.protocol.by_id.get(place[0]) if place else None
    here = slug(now, item) if item else ""
    page = bedside_page(request, examination, now, may_write, here)
    if item is None:
        refused = RefusedPage(**values(page), error=error.message)
        return show(request, "examinations/refused_page.html", refused, status=422)
    row = row_of(now, item, opened=True, error=error.message)
    context = item_page(page, row, error=error.message)
    return show(request, "examinations/item.html", context, status=422)
