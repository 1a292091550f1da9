"""A table as it came, whichever version of it: to be read, and as a file."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.http import HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET

from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.log import Act, write
from sidewise.web.marks import store
from sidewise.web.marks.access import allowed_sitting
from sidewise.web.marks.models import KeptSitting, MarksSheet
from sidewise.web.marks.views.results import attachment
from sidewise.web.pages import show

ROWS_A_PAGE = 200


@dataclass(frozen=True, slots=True)
class SheetPage:
    """What the page of one table is given."""

    sitting: KeptSitting
    """Whose marks."""
    sheet: MarksSheet
    """Which table."""
    page: Page[tuple[int, tuple[str, ...]]]
    """Some rows, each with its number."""
    erased: int
    """How many rows were erased since it came."""


@require_GET
def sheet(request: SignedInRequest, sitting: UUID, number: int) -> HttpResponse:
    """One table, page by page."""
    who = allowed_sitting(request.user, sitting)
    found = get_object_or_404(MarksSheet, sitting=who.sitting, number=number)
    rows = list(enumerate(store.grid_of(found).rows, 1))
    page = Paginator(rows, ROWS_A_PAGE).get_page(request.GET.get("page"))
    return show(
        request, "marks/sheet.html", SheetPage(who.sitting, found, page, store.erased_rows(found))
    )


@require_GET
def sheet_file(request: SignedInRequest, sitting: UUID, number: int) -> HttpResponse:
    """One table as CSV."""
    from sidewise.ground.tables import safe_cell

    who = allowed_sitting(request.user, sitting)
    found = get_object_or_404(MarksSheet, sitting=who.sitting, number=number)
    write(Act.EXPORT, f"marks-sheet:{who.sitting.key}/{found.number}")
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerows([safe_cell(cell) for cell in row] for row in store.grid_of(found).rows)
    name = f"marks-{str(who.sitting.key)[:8]}-table-{found.number}.csv"
    return attachment(out.getvalue(), "text/csv; charset=utf-8", name)
