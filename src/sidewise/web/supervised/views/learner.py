"""The learner's pages: one's visits, the visit that lasts, and what came of an earlier one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.practice.supervised.hands_table import HandsLine, hands_lines
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.examinations.state import Current, current
from sidewise.web.pages import show
from sidewise.web.supervised import store
from sidewise.web.supervised.access import open_visit, own_visits, told_visit
from sidewise.web.supervised.forms import TYPED, deeds_from
from sidewise.web.supervised.lines import (
    HELD,
    LearnerGroup,
    LearnerTab,
    learner_groups,
    learner_tabs,
    raised_by,
)
from sidewise.web.supervised.models import LearnerVisit
from sidewise.web.supervised.store import OlderPage

only_students = roles(Role.STUDENT)
SHOWN = 50


@dataclass(frozen=True, slots=True)
class VisitsPage:
    """What the learner's list of visits is given."""

    open_visits: tuple[LearnerVisit, ...]
    """Those that last now: the only ones that name a patient."""
    told: tuple[LearnerVisit, ...]
    """Those of which something is told."""
    waiting: int
    """How many were handed in and are not countersigned yet."""
    hands: tuple[HandsLine, ...]
    """Over all that is told: how one's hands agree with those of supervisors, by item."""


@dataclass(frozen=True, slots=True)
class ExaminePage:
    """What the page of one stage of a visit is given."""

    visit: LearnerVisit
    """The visit, with the patient's code and the side that hurts, and nothing more of them."""
    tabs: tuple[LearnerTab, ...]
    """The stages."""
    here: str
    """Which of them is shown."""
    groups: tuple[LearnerGroup, ...]
    """Its items, with what the learner found."""
    asked: bool
    """Whether the supervisor has asked every core question about flags; not what was answered."""
    raised: tuple[str, ...]
    """Flags that the learner's own findings raise."""
    seen: int
    """How many entries the record had when the page was made."""
    held: str
    """What is said where something must not be done."""
    problem: str
    """Why nothing was recorded."""


@dataclass(frozen=True, slots=True)
class ToldPage:
    """What the page of a countersigned visit is given. Nothing of it says who the patient was."""

    visit: LearnerVisit
    """The visit, of which its day, the supervisor and their word are shown."""
    told: dict[str, Any]
    """How the two compared, as it was kept."""


@only_students
@require_GET
def visits(request: SignedInRequest) -> HttpResponse:
    """The visits of a learner."""
    rows = list(own_visits(request.user)[:SHOWN])
    told = tuple(one for one in rows if one.feedback is not None)
    context = VisitsPage(
        open_visits=tuple(one for one in rows if one.is_open()),
        told=told,
        waiting=sum(one.state == "handed in" for one in rows),
        hands=hands_lines({str(one.key): (one.feedback or {})["places"] for one in told}),
    )
    return show(request, "supervised/visits.html", context)


@only_students
@require_http_methods(["GET", "POST"])
def examine(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """One stage of the visit while it lasts; a POST records what was typed and pressed."""
    row = open_visit(request.user, visit)
    now = current(row.examination)
    here = request.GET.get("stage", now.protocol.stages[0].slug)
    if here not in {stage.slug for stage in now.protocol.stages}:
        raise Http404
    if request.method == "GET":
        return _examine(request, row, now, here)
    try:
        deeds = deeds_from(store.visit_region(row), request.POST)
        _refuse_held(now, deeds)
        store.add(row, deeds, _seen(request))
    except OlderPage as error:
        return _examine(request, row, now, here, error.do, 409)
    except UserError as error:
        return _examine(request, row, now, here, error.message, 422)
    return redirect(f"{reverse('learner-room', args=[visit])}?stage={here}")


def _refuse_held(now: Current, deeds: list[dict[str, Any]]) -> None:
    for deed in deeds:
        if "found" in deed:
            item = now.protocol.item(deed["found"]["item"])
            if now.withheld.why(item, deed["found"].get("mode")):
                raise UserError(item.label, "held back", HELD)


def _seen(request: SignedInRequest) -> int:
    text = request.POST.get("seen", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 6 else -1


def _examine(
    request: SignedInRequest, row: LearnerVisit, now: Current, here: str, problem: str = "",
    status: int = 200,
) -> HttpResponse:  # fmt: skip
    standing = store.findings_standing(row)
    sent = request.POST if problem else {}
    typed = {n.removeprefix(TYPED): str(sent[n]) for n in sent if n.startswith(TYPED)}
    context = ExaminePage(
        visit=row, tabs=learner_tabs(now.protocol, standing.values()), here=here,
        groups=learner_groups(now, standing, here, typed), asked=not now.completeness.not_asked,
        raised=raised_by(store.record_of(row, standing.values())),
        seen=row.findings.count(), held=HELD, problem=problem,
    )  # fmt: skip
    return show(request, "supervised/examine.html", context, status=status)


@only_students
@require_POST
def hand_in(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """The learner is done."""
    row = open_visit(request.user, visit)
    try:
        store.hand_in_visit(row)
    except UserError as error:
        now = current(row.examination)
        return _examine(request, row, now, now.protocol.stages[0].slug, error.message, 422)
    return redirect("learner-visits")


@only_students
@require_GET
def show_comparison(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """How one's hands and the supervisor's compared."""
    row = told_visit(request.user, visit)
    return show(request, "supervised/told.html", ToldPage(row, row.feedback or {}))
