"""The report with its pictures, the decisions, the letters, and everything as files."""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from django.http import Http404, HttpResponse
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_GET

from sidewise.errors import UserError
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.marks.access import AllowedSitting
from sidewise.web.marks.models import KeptSitting, Settlement
from sidewise.web.marks.views.result_pages import FourParts, show_when_ready
from sidewise.web.pages import show

if TYPE_CHECKING:
    from sidewise.teaching.report.printout import PrintedLetter, PrintedSitting

MOST_LETTERS_SHOWN = 150
MOST_ROWS_SHOWN = 2000
KINDS = ("examiners", "stations", "students")
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True, slots=True)
class ReportPage:
    """What the page of the report is given."""

    sitting: KeptSitting
    """Whose marks."""
    version: Settlement
    """Under which answers."""
    markup: SafeString
    """The report, as the teaching package prints it: every word in it is escaped there."""


@dataclass(frozen=True, slots=True)
class DecisionsPage:
    """What the page of the decisions is given."""

    sitting: KeptSitting
    """Whose marks."""
    version: Settlement
    """Under which answers."""
    printed: PrintedSitting
    """The results."""
    rows: tuple[tuple[str, ...], ...]
    """A row for each student, as many as are shown."""
    more: int
    """How many students are not shown."""


@dataclass(frozen=True, slots=True)
class LettersPage:
    """What the page of the letters is given."""

    sitting: KeptSitting
    """Whose marks."""
    version: Settlement
    """Under which answers."""
    groups: tuple[tuple[str, tuple[PrintedLetter, ...], int], ...]
    """Examiners, stations and students: the letters shown, and how many there are."""
    refused: tuple[FourParts, ...]
    """Why there are none."""


@require_GET
def report(request: SignedInRequest, sitting: UUID, number: int) -> HttpResponse:
    """The report of one version with its pictures."""

    def shower(who: AllowedSitting, version: Settlement, printed: PrintedSitting) -> HttpResponse:
        markup = mark_safe(printed.markup)
        return show(request, "marks/report.html", ReportPage(who.sitting, version, markup))

    return show_when_ready(request, sitting, number, shower)


@require_GET
def decisions(request: SignedInRequest, sitting: UUID, number: int) -> HttpResponse:
    """Every student's decision, with every rule named and how sure it is."""

    def shower(who: AllowedSitting, version: Settlement, printed: PrintedSitting) -> HttpResponse:
        rows = printed.decisions[:MOST_ROWS_SHOWN]
        more = len(printed.decisions) - len(rows)
        context = DecisionsPage(who.sitting, version, printed, rows, more)
        return show(request, "marks/decisions.html", context)

    return show_when_ready(request, sitting, number, shower)


@require_GET
def letters_page(request: SignedInRequest, sitting: UUID, number: int) -> HttpResponse:
    """The letters to examiners, stations' authors and students, to be read before they go out."""

    def shower(who: AllowedSitting, version: Settlement, printed: PrintedSitting) -> HttpResponse:
        groups = []
        for kind in KINDS:
            found = tuple(one for one in printed.letters if one.kind == kind)
            groups.append((kind, found[:MOST_LETTERS_SHOWN], len(found)))
        told = printed.letters_refused
        refused = tuple(FourParts(t.where, t.got, t.expected, t.do) for t in told)
        context = LettersPage(who.sitting, version, tuple(groups), refused)
        return show(request, "marks/letters.html", context)

    return show_when_ready(request, sitting, number, shower)


@require_GET
def result_file(request: SignedInRequest, sitting: UUID, number: int, what: str) -> HttpResponse:
    """Something to download: report, decisions, letters or everything as data."""
    if what not in ("report", "decisions", "letters", "data"):
        raise Http404

    def shower(who: AllowedSitting, version: Settlement, printed: PrintedSitting) -> HttpResponse:
        write(Act.EXPORT, f"marks-{what}:{who.sitting.key}/{version.number}")
        stem = f"marks-{str(who.sitting.key)[:8]}-{version.number}"
        if what == "report":
            return attachment(printed.page, "text/html; charset=utf-8", f"{stem}-report.html")
        if what == "decisions":
            text = printed.decisions_csv
            return attachment(text, "text/csv; charset=utf-8", f"{stem}-decisions.csv")
        if what == "data":
            return attachment(printed.data, "application/json; charset=utf-8", f"{stem}.json")
        return attachment(_packed(printed), "application/zip", f"{stem}-letters.zip")

    return show_when_ready(request, sitting, number, shower)


def attachment(content: str | bytes, kind: str, name: str) -> HttpResponse:
    """A file to be saved."""
    response = HttpResponse(content, content_type=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _packed(printed: PrintedSitting) -> bytes:
    if printed.letters_refused:
        raise Http404
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for one in printed.letters:
            archive.writestr(f"{one.kind}/{one.file}", one.text)
    return packed.getvalue()


@require_GET
@shows_no_record
def style(request: SignedInRequest) -> HttpResponse:
    """The style sheet of the report, which the page and the file share."""
    from sidewise.teaching.report.page import report_style

    return HttpResponse(report_style(), content_type="text/css; charset=utf-8")


@require_GET
@shows_no_record
def template(request: SignedInRequest, kind: str) -> HttpResponse:
    """An empty table to fill in."""
    from sidewise.teaching.tables.template import template_bytes

    kinds = {"csv": "text/csv; charset=utf-8", "xlsx": XLSX}
    try:
        return attachment(template_bytes(kind), kinds[kind], f"marks.{kind}")
    except (KeyError, UserError):
        raise Http404 from None
