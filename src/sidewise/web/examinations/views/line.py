"""A typed line: read, shown back, and recorded only when a person has confirmed it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from uuid import UUID, uuid4

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from sidewise.errors import UserError
from sidewise.record.line import LineReading
from sidewise.record.model import Finding
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.binding import gathered
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import Bedside, BedsidePage, bedside_page
from sidewise.web.examinations.entries import entries_of_findings
from sidewise.web.examinations.models import Examination, HeldEntry
from sidewise.web.examinations.queue import held_of, settle
from sidewise.web.examinations.rows import slug
from sidewise.web.examinations.state import Current, add, current
from sidewise.web.examinations.typed_line import (
    LEFT_OUT,
    LONGEST,
    AskedQuestion,
    ShownFinding,
    asked_questions,
    chosen_findings,
    line_of,
    reading_of,
    shown_finding,
)
from sidewise.web.pages import show, values


@dataclass(frozen=True, slots=True, kw_only=True)
class LinePage(BedsidePage):
    """What the page of a typed line is given."""

    error: str
    """Why nothing was recorded."""
    text: str
    """The line as it was typed."""
    held: HeldEntry | None
    """What it was held as, where it was typed without network."""
    seen: int
    """How many entries the record had when this was shown."""
    touch: str
    """The part of the ids that its entries share."""
    reading: LineReading | None = None
    """What was read."""
    lines: tuple[ShownFinding, ...] = ()
    """The findings that are stated."""
    questions: tuple[AskedQuestion, ...] = ()
    """What has to be chosen first."""
    left_out: str = LEFT_OUT
    """The answer that leaves a part out."""
    longest: int = LONGEST
    """Characters of one line."""


@require_POST
def line(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The line read and shown back; with `record`, its findings stored and back to the row."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    now, form = current(examination), request.POST.dict()
    try:
        _refuse_closed(examination, now)
        text = line_of(form)
    except UserError as error:
        return _page(request, examination, now, error=error.message)
    reading = reading_of(text, now)
    if "record" not in form:
        return _page(request, examination, now, reading)
    try:
        _refuse_changed(form.get("seen"), now)
        found = chosen_findings(reading, form)
        _store(request, examination, now, found)
    except UserError as error:
        return _page(request, examination, now, reading, error.message)
    return _back(request, pk, now, found[-1])


def _refuse_closed(examination: Examination, now: Current) -> None:
    bed = Bedside(examination, now, True, "")
    if not bed.is_open:
        state = "signed" if bed.is_signed else "discarded"
        raise UserError("the record", f"a {state} record", "an open draft",
                        "Nothing was recorded; amend a signed record first.")  # fmt: skip


def _refuse_changed(seen: str | None, now: Current) -> None:
    # What would be replaced was shown as the record stood then; a form sent twice ends here too.
    if seen != str(now.length):
        raise UserError("the record", "something recorded since this page was shown",
                        "the record as it was shown",
                        "Look again at what follows before you record it.")  # fmt: skip


def _store(
    request: SignedInRequest, examination: Examination, now: Current, found: list[Finding]
) -> None:
    examiner, touch = now.record.context.examiner, request.POST.get("touch", "")
    touch = touch if re.fullmatch(r"[0-9a-f]{32}", touch) else ""
    entries = entries_of_findings(found, now.folded, request.user.signs_as, examiner, touch)
    with gathered():
        add(examination, entries)
        if held := held_of(request.POST.get("held", ""), examination):
            settle(held, request.user.username, "typed")


def _back(request: SignedInRequest, pk: UUID, now: Current, last: Finding) -> HttpResponse:
    answer = redirect("stage", pk=pk, stage=slug(now, now.protocol.item(last.item)))
    answer["Location"] += f"#row-{last.item}"
    if request.htmx:
        # A script cannot see where a redirect leads, nor the row in it.
        return HttpResponse(headers={"HX-Redirect": answer["Location"]})
    return answer


def _page(
    request: SignedInRequest, examination: Examination, now: Current,
    reading: LineReading | None = None, error: str = "",
) -> HttpResponse:  # fmt: skip
    context = LinePage(
        **values(bedside_page(request, examination, now, True, "")),
        error=error,
        text=reading.text if reading else request.POST.get("text", ""),
        held=held_of(request.POST.get("held", ""), examination),
        seen=now.length,
        touch=uuid4().hex,
        reading=reading,
        lines=tuple(shown_finding(finding, now) for finding in reading.findings) if reading else (),
        questions=tuple(asked_questions(reading, request.POST.dict(), now)) if reading else (),
    )
    return show(request, "examinations/line.html", context, status=422 if error else 200)
