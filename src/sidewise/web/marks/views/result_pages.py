"""What several pages of marks need: the version that is looked at, and its analysis or a wait."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import get_object_or_404

from sidewise.errors import UserError, UserErrors, short_text
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.marks.access import AllowedSitting, allowed_sitting
from sidewise.web.marks.analysis import UnderWay, analysis_of
from sidewise.web.marks.models import KeptSitting, Settlement
from sidewise.web.pages import show

if TYPE_CHECKING:
    from sidewise.teaching.report.printout import PrintedSitting


@dataclass(frozen=True, slots=True)
class FourParts:
    """An error as a page says it: where, what was got, what was expected, what to do."""

    where: str
    """Where it was."""
    got: str
    """What was got."""
    expected: str
    """What was expected."""
    do: str
    """What to do."""


def four_parts(error: UserError) -> tuple[FourParts, ...]:
    """Each error in its parts; a long list is cut at the number that is shown anywhere."""
    each = error.errors if isinstance(error, UserErrors) else [error]
    return tuple(
        FourParts(e.where, short_text(e.got), e.expected, e.do) for e in each[: UserErrors.LIMIT]
    )


@dataclass(frozen=True, slots=True)
class UnderWayPage:
    """What the page of an analysis that is not done is given."""

    sitting: KeptSitting
    """Whose marks."""
    version: Settlement
    """Under which answers."""
    seconds: int
    """For how long it has been under way."""
    too_many: bool
    """Whether it has not been begun, because others wait."""


@dataclass(frozen=True, slots=True)
class RefusedAnalysisPage:
    """What the page of an analysis that could not be done is given."""

    sitting: KeptSitting
    """Whose marks."""
    version: Settlement
    """Under which answers."""
    errors: tuple[FourParts, ...]
    """Why not."""
    may_write: bool
    """Whether this person may settle it."""


Shower = Callable[[AllowedSitting, Settlement, "PrintedSitting"], HttpResponse]


def show_when_ready(
    request: SignedInRequest, key: UUID, number: int, shower: Shower
) -> HttpResponse:
    """What `shower` makes of the printed analysis; else the page that says where it stands."""
    who = allowed_sitting(request.user, key)
    return results_of(request, who, version_of(who.sitting, number), shower)


def version_of(sitting: KeptSitting, number: int) -> Settlement:
    """One version with its table; 404 where there is none."""
    rows = Settlement.objects.select_related("sheet", "sitting")
    return get_object_or_404(rows, sitting=sitting, number=number)


def results_of(
    request: SignedInRequest, who: AllowedSitting, version: Settlement, shower: Shower
) -> HttpResponse:
    """As `show_when_ready`, of a version that is at hand."""
    found = analysis_of(version)
    if isinstance(found, UnderWay):
        wait = UnderWayPage(who.sitting, version, found.seconds, found.too_many)
        template = "under_way_part" if request.htmx else "under_way"
        return show(request, f"marks/{template}.html", wait, status=202)
    if request.htmx:
        # The page asked whether it is done. It goes there anew: reloaded, the browser would restore
        # the place of the short page that waited, which is somewhere in the middle of this one.
        return HttpResponse(headers={"HX-Redirect": request.path})
    if found.printed is None:
        errors = tuple(part for error in found.errors for part in four_parts(error))
        refused = RefusedAnalysisPage(who.sitting, version, errors, who.may_write)
        return show(request, "marks/refused_analysis.html", refused, status=422)
    return shower(who, version, found.printed)
