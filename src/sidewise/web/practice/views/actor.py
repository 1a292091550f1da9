"""The sheet of a patient actor: what to show on which side, when to wince, what to say."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import Http404, HttpResponse
from django.shortcuts import get_object_or_404
from django.views.decorators.http import require_GET

from sidewise.practice.actor_sheet import CARDS, REST, STOP, ActorSheet
from sidewise.practice.case_file import CaseFile
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.classes.access import allowed_class
from sidewise.web.classes.models import Assignment
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.access import cases_of

only_teachers = roles(Role.TEACHER)


@dataclass(frozen=True, slots=True)
class ActorPage:
    """What the page of an actor's sheet is given. The truth of the case is no part of it."""

    sheet: ActorSheet
    """What the actor is told."""
    title: str
    """Of what was set, or of the case."""
    cards: str
    """The heading of what is handed over."""
    rest: str
    """What is played where nothing is said."""
    stop: str
    """How the actor ends it."""


@only_teachers
@require_GET
def actor_of_set(request: SignedInRequest, study_class: UUID, assignment: UUID) -> HttpResponse:
    """The sheet of a case that is the same for all to whom it is set."""
    who = allowed_class(request.user, study_class)
    rows = Assignment.objects.filter(study_class=who.study_class, kind=store.KIND)
    one = get_object_or_404(rows, key=assignment)
    case = store.common_case(one)
    if case is None:
        raise Http404
    return _sheet(request, case, one.title)


@only_teachers
@require_GET
def actor_of_own(request: SignedInRequest, case: UUID) -> HttpResponse:
    """The sheet of a case that this teacher sent in."""
    found = get_object_or_404(cases_of(request.user), key=case)
    return _sheet(request, store.case_file_of(found), found.title)


def _sheet(request: SignedInRequest, case: CaseFile, title: str) -> HttpResponse:
    context = ActorPage(store.sheet_of(case), title, CARDS, REST, STOP)
    return show(request, "practice/actor.html", context)
