"""A blank form to print for when there is no tablet, by kind of visit."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import Http404, HttpResponse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from sidewise.errors import UserError
from sidewise.note.blank_form import form_for_paper
from sidewise.note.blank_page import blank_body
from sidewise.protocol import protocol_of
from sidewise.protocol.visits import VisitKind
from sidewise.regions import regions
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.pages import show


@dataclass(frozen=True, slots=True)
class PaperPage:
    """What the page of a blank form is given."""

    form: SafeString
    """The form itself, the same as the command writes."""
    kinds: tuple[VisitKind, ...]
    """The kinds of visit that have a form."""
    chosen: str
    """The kind of visit shown."""
    regions: tuple[str, ...]
    """The regions to choose from, where there are several."""
    region: str
    """The region shown."""


@shows_no_record
@require_GET
@gzip_page
def paper(request: SignedInRequest) -> HttpResponse:
    """The blank form of one kind of visit; nobody's record is read."""
    known = regions()
    try:
        region = known.chosen(request.GET.get("region", "") or next(iter(known)))
        book = protocol_of(region).visits
        kind = book.kind(request.GET.get("visit") or None)
    except UserError:
        raise Http404 from None
    body = mark_safe(blank_body(form_for_paper(region, kind)))  # Escapes every word.
    names = tuple(known) if len(known) > 1 else ()
    page = PaperPage(body, book.kinds, kind.id, names, region.id)
    return show(request, "examinations/paper.html", page)
