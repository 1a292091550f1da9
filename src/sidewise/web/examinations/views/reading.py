"""What follows from the record: its meaning, its note, its file, and earlier revisions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from sidewise.note import note_body, note_html, referral_line
from sidewise.record import Record, Revision, record_json
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.essentials import said_otherwise
from sidewise.web.examinations.meaning import Meaning
from sidewise.web.examinations.state import Current, current, weigh
from sidewise.web.examinations.statements import disputes_shown
from sidewise.web.examinations.weighing import weighed, weighed_soon
from sidewise.web.pages import show, values


@dataclass(frozen=True, slots=True)
class MeaningPage(BedsidePage):
    """What the panel of the meaning, and its page, are given."""

    meaning: Meaning
    """The interpretation as it is shown."""
    length: int
    """How many entries it rests on, so that the page can tell whether it is the newest."""


@require_GET
def meaning(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """What the findings may mean; the panel's content for a script, else a page.

    A script may be told to ask again (204): what it shows then stays marked as not the newest.
    """
    examination, may_write = allowed_examination(request.user, pk)
    now = weighed_soon(examination) if request.htmx else weighed(examination)
    if now is None:
        return HttpResponse(status=204, headers={"HX-Trigger": "weigh-later"})
    shown = Meaning(said_of(now), now.protocol, now.record.context.complaint)
    page = bedside_page(request, examination, now, may_write, "meaning")
    context = MeaningPage(**values(page), meaning=shown, length=now.length)
    template = "meaning_part" if request.htmx else "meaning"
    return show(request, f"examinations/{template}.html", context)


@dataclass(frozen=True, slots=True)
class NotePage(BedsidePage):
    """What the page of a note is given."""

    note: SafeString
    """The note itself, the same as in its file."""
    line: str
    """The same in one line, for a referral."""
    old: Revision | None
    """The earlier revision that this is the note of."""
    otherwise: tuple[str, ...] = ()
    """What would be said otherwise now than when it was signed."""


@require_GET
@gzip_page
def note(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The note on the screen, made to be printed; with `file`, the same note to keep."""
    examination, may_write = allowed_examination(request.user, pk)
    now = weighed(examination)
    if "file" in request.GET:
        answer = HttpResponse(note_html(now.record, said_of(now), now.region))
        answer["Content-Disposition"] = f'attachment; filename="{examination.pk}.html"'
        return answer
    page = bedside_page(request, examination, now, may_write, "note")
    said = said_of(now)
    context = NotePage(
        **values(page), note=_body(now, now.record, said),
        line=referral_line(now.record, said, now.region), old=None,
        otherwise=said_otherwise(now),
    )  # fmt: skip
    return show(request, "examinations/note.html", context)


@require_GET
@gzip_page
def revision(request: SignedInRequest, pk: UUID, number: int) -> HttpResponse:
    """An earlier signed revision, as it was."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    record = earlier(now, number)
    page = bedside_page(request, examination, now, may_write, "note")
    old = now.record.earlier[number - 1]
    said = weigh(record)
    context = NotePage(
        **values(page), note=_body(now, record, said),
        line=referral_line(record, said, now.region), old=old,
    )  # fmt: skip
    return show(request, "examinations/note.html", context)


def said_of(now: Current) -> Any:
    """The interpretation, with a caution for every field for which different answers stand."""
    result = now.interpretation()
    open_fields = tuple(dispute.sentence for dispute in disputes_shown(now))
    return replace(result, warnings=(*result.warnings, *open_fields)) if open_fields else result


def earlier(now: Current, number: int) -> Record:
    """The record as it was signed in revision `number`; 404 if there is none."""
    revisions = now.record.earlier
    if not 1 <= number <= len(revisions):
        raise Http404
    old = revisions[number - 1]
    return Record(
        id=now.record.id,
        region=now.record.region,
        context=old.context,
        findings=old.findings,
        conclusion=old.conclusion,
        care=old.care,
        revision=old.number,
        signed=old.signed,
        earlier=revisions[: number - 1],
    )


@require_GET
def file(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The record as a file of the published format."""
    examination, _ = allowed_examination(request.user, pk)
    text = record_json(current(examination).record)
    answer = HttpResponse(text, content_type="application/json")
    # The name of the file is the record's random key: a download folder is seen by others.
    answer["Content-Disposition"] = f'attachment; filename="{examination.pk}.json"'
    return answer


def _body(now: Current, record: Record, interpretation: Any) -> SafeString:
    return mark_safe(note_body(record, interpretation, now.region))  # note_body escapes every word.
