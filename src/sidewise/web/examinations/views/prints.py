"""Papers of one examination: the note and a letter as PDF, and a leaflet to edit and print."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpResponse
from django.views.decorators.http import require_GET, require_http_methods

from sidewise.documents.leaflet import draft_leaflet, leaflet_pdf, parse_leaflet
from sidewise.documents.papers import evidence_pdf, letter_pdf, note_pdf
from sidewise.documents.readability import reading_age
from sidewise.errors import UserError
from sidewise.exchange.fhir.bundle import bundle_json
from sidewise.record import Record
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import Current, current
from sidewise.web.examinations.views.reading import said_of
from sidewise.web.examinations.weighing import weighed
from sidewise.web.pages import show, values

Maker = Callable[[Current], bytes]
PAPERS: dict[str, tuple[Maker, str]] = {
    "note.pdf": (lambda now: note_pdf(now.record, said_of(now), now.region), "application/pdf"),
    "evidence.pdf": (
        lambda now: evidence_pdf(now.record, said_of(now), now.region),
        "application/pdf",
    ),
    "fhir.json": (
        lambda now: bundle_json(now.record, said_of(now), now.region).encode(),
        "application/fhir+json",
    ),
    "letter.pdf": (lambda now: letter_pdf(now.record, said_of(now), now.region), "application/pdf"),
}
"""What can be taken away, by the end of its address: how it is made, and its type."""
MOST_TEXT = 20_000


@dataclass(frozen=True, slots=True)
class NoPaperPage(BedsidePage):
    """What the page is given that says why a paper could not be made."""

    error: str
    """Why."""


@dataclass(frozen=True, slots=True)
class LeafletPage(BedsidePage):
    """What the page of a leaflet is given."""

    text: str
    """The leaflet as text, to be edited."""
    reading_age: float
    """At which age such a text is usually read, by a published formula."""
    error: str
    """Why it could not be printed."""


@require_GET
def print_paper(request: SignedInRequest, pk: UUID, paper: str) -> HttpResponse:
    """The note or a letter as a file; written down as an export."""
    examination, may_write = allowed_examination(request.user, pk)
    if paper not in PAPERS:
        raise Http404
    now = weighed(examination)
    make, kind = PAPERS[paper]
    try:
        made = make(now)
    except UserError as error:
        page = bedside_page(request, examination, now, may_write, "note")
        refused = NoPaperPage(**values(page), error=error.message)
        return show(request, "examinations/no_paper.html", refused, status=422)
    return _sent(examination, made, paper, kind)


@require_http_methods(["GET", "POST"])
def leaflet(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """The draft of a leaflet to edit; what is sent is printed, after the clinician has read it."""
    examination, may_write = allowed_examination(request.user, pk)
    now = current(examination)
    text, error = request.POST.get("text", "")[:MOST_TEXT], ""
    if request.method == "POST":
        try:
            made = leaflet_pdf(parse_leaflet(text), now.record, draft=False)
            return _sent(examination, made, "leaflet.pdf", "application/pdf")
        except UserError as found:
            error = found.message
    else:
        text = draft_leaflet(now.record, now.region, _earlier(examination)).text
    page = bedside_page(request, examination, now, may_write, "note")
    context = LeafletPage(
        **values(page), text=text, reading_age=round(reading_age(text)), error=error
    )
    return show(request, "examinations/leaflet.html", context, status=422 if error else 200)


def _earlier(examination: Examination) -> list[Record]:
    """The signed visit before this one, where there is one."""
    rows = examination.patient.examinations.filter(
        examined_at__lt=examination.examined_at, state="signed"
    )
    last = rows.order_by("-examined_at").first()
    return [current(last).record] if last is not None else []


def _sent(examination: Examination, made: bytes, name: str, kind: str) -> HttpResponse:
    write(Act.EXPORT, f"examination:{examination.pk}")
    answer = HttpResponse(made, content_type=kind)
    # The name of the file is the record's random key: a download folder is seen by others.
    answer["Content-Disposition"] = f'attachment; filename="{examination.pk}-{name}"'
    return answer
