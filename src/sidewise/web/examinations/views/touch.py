"""One touch saved and answered: the row it changed, the strip, the flags, and nothing else."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString
from django.views.decorators.http import require_POST

from sidewise.errors import UserError
from sidewise.record.ledger import Entry, Found, Undone
from sidewise.web.examinations.bedside import (
    BedsidePage,
    bedside_context,
    bedside_page,
    rows_shown,
)
from sidewise.web.examinations.entries import entries_from_form, entries_from_json
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.pieces import values
from sidewise.web.examinations.rows import StageFoot, rest_of, row_of, slug
from sidewise.web.examinations.state import Current, add, current, examiner_of
from sidewise.web.examinations.views.stage import ENTRY
from sidewise.web.patients.access import allowed_examination


@require_POST
def touch(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Entries from a script; answers the changed pieces of the page, or 422 with the reason."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    by = request.user.signs_as
    try:
        entries = entries_from_json(request.body, by, examiner_of(examination))
        now = add(examination, entries)
    except UserError as error:
        return _refused(request, error)
    names = tuple(dict.fromkeys(_items(entries, now)))
    return _answer(request, examination, now, names)


@require_POST
def record(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The same from a plain form: back to the row, or the page with the reason (422)."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    form = request.POST.dict()
    by, examiner = request.user.signs_as, now.record.context.examiner
    try:
        entries = entries_from_form(form, now.folded, by, examiner)
        after = add(examination, entries)
    except UserError as error:
        return _page_with(request, examination, now, may_write, error)
    items = list(_items(entries, after))
    return _back(pk, now, items)


def _back(pk: UUID, now: Current, items: list[str]) -> HttpResponse:
    if not items:
        return redirect("examination", pk=pk)
    answer = redirect("stage", pk=pk, stage=slug(now.protocol.item(items[-1]).stage))
    answer["Location"] += f"#row-{items[-1]}"
    return answer


def _items(entries: Iterable[Entry], now: Current) -> Iterable[str]:
    found = {e.id: e.deed.finding.item for e in now.entries if isinstance(e.deed, Found)}
    for entry in entries:
        if isinstance(entry.deed, Found):
            yield entry.deed.finding.item
        elif isinstance(entry.deed, Undone):
            yield from (found[name] for name in entry.deed.entries if name in found)


@dataclass(frozen=True, slots=True)
class TouchAnswer(BedsidePage):
    """What the answer to a touch is given."""

    rows: SafeString
    """The rows it changed, each to take the place of the one on the page."""
    feet: tuple[StageFoot, ...]
    """The foot of each stage it changed."""


def _answer(
    request: HttpRequest, examination: Examination, now: Current, names: tuple[str, ...]
) -> HttpResponse:
    page = replace(bedside_page(request, examination, now, True, ""), oob=True)
    items = [now.protocol.by_id[name] for name in names]
    stages = dict.fromkeys(item.stage for item in items)
    answer = TouchAnswer(
        **values(page),
        rows=rows_shown(request, page, items, swapped=True),
        feet=tuple(StageFoot(stage, len(rest_of(now, stage))) for stage in stages),
    )
    return render(request, "examinations/answer.html", values(answer))


def _refused(request: HttpRequest, error: UserError) -> HttpResponse:
    return render(request, "examinations/refused.html", {"error": error.message}, status=422)


def _page_with(
    request: HttpRequest, examination: Examination, now: Current, may_write: bool, error: UserError
) -> HttpResponse:
    place = request.POST.get("places", "").split(";")[0].split()
    item = now.protocol.by_id.get(place[0]) if place else None
    context = bedside_context(
        request, examination, now, may_write, slug(item.stage) if item else ""
    )
    context |= {"error": error.message, **ENTRY}
    if item is None:
        return render(request, "examinations/refused_page.html", context, status=422)
    context |= {"row": row_of(now, item, opened=True, error=error.message), "full": True}
    return render(request, "examinations/item.html", context, status=422)
