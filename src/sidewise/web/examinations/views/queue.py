"""The door of the queues that browsers keep, and the entries that arrived too late."""

from __future__ import annotations

import re
from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.accounts.rules import takes_json
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.watch import shows_no_record, thing
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.care_sent import SentForm, form_in
from sidewise.web.examinations.models import Examination, HeldEntry
from sidewise.web.examinations.queue import add_held, line_in, open_held, settle, take_in
from sidewise.web.examinations.state import examiner_of
from sidewise.web.pages import show


@dataclass(frozen=True, slots=True)
class HeldPage:
    """What the page of held entries is given."""

    examination: Examination
    """Where they would be added."""
    held: tuple[tuple[HeldEntry, str, str | None, SentForm | None], ...]
    """Each with its words, and the line or the form that it carries."""
    may_write: bool
    """Whether this person may decide."""
    problem: str
    """Why the last decision could not be carried out."""


@require_POST
@takes_json
def take_queue(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Entries that a browser queued; sent again they count once."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    try:
        taken = take_in(examination, request.user, request.body)
    except UserError as error:
        return JsonResponse({"error": error.message}, status=422)
    return JsonResponse(taken.as_json())


@require_http_methods(["GET", "POST"])
def held(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Entries that arrived too late: a person adds or drops each."""
    examination, may_write = allowed_examination(request.user, pk, write=request.method == "POST")
    problem = ""
    if request.method == "POST":
        number = request.POST.get("held", "")
        rows = examination.held.filter(settled_at=None)
        row = get_object_or_404(rows, pk=int(number) if number.isdecimal() else 0)
        problem = _settle(request, row)
        if not problem:
            return redirect("held", pk=pk)
    lines = tuple(
        (row, _words(row), line_in(row.entry), form_in(row.entry)) for row in open_held(examination)
    )
    context = HeldPage(examination, lines, may_write, problem)
    return show(request, "examinations/held.html", context, status=422 if problem else 200)


def _settle(request: SignedInRequest, row: HeldEntry) -> str:
    how = request.POST.get("how", "")
    if how not in ("add", "drop"):
        return "Choose whether to add the entry or to discard it."
    if how == "add":
        try:
            add_held(row, examiner_of(row.examination))
        except UserError as error:
            return error.message
    settle(row, request.user.username, how)
    return ""


def _words(row: HeldEntry) -> str:
    if sent := form_in(row.entry):
        return sent.words
    deed = row.entry.get("deed")
    if isinstance(deed, dict) and deed.get("do") == "state":
        return f"{deed.get('field')}: {deed.get('value')}"[:300]
    finding = deed.get("finding") if isinstance(deed, dict) else None
    if not isinstance(finding, dict):
        return "an entry that could not be read"
    parts = [finding.get("item"), finding.get("side"), finding.get("mode"), finding.get("status")]
    value = finding.get("value")
    parts += (
        [f"{k} {v}" for k, v in value.items() if v is not None] if isinstance(value, dict) else []
    )
    return ", ".join(str(part) for part in parts if part)[:300]


@require_GET
@shows_no_record
def since(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """How many entries there are, and the ids of those after the first `length`.

    Asked by every open page again and again; it tells nothing of what was found.
    """
    try:
        examination, _ = allowed_examination(request.user, pk)
    except (Http404, PermissionDenied):
        # Answers are not noted, since every open page asks every few seconds; a refusal is.
        write(Act.REFUSED, thing("since", {"pk": pk}))
        raise
    text = request.GET.get("length", "")
    known = int(text) if re.fullmatch(r"[0-9]{1,9}", text) else 0
    ids = list(examination.entries.order_by("pk").values_list("entry_id", flat=True)[known:])
    return JsonResponse({"length": known + len(ids), "entries": ids})
