"""The student's first page of practice: what is set, what is open, what was done, a new case."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Count
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from sidewise.ground.extras import missing_modules
from sidewise.knowledge.region import Region
from sidewise.practice import CaseWishes
from sidewise.practice.schedule import NextCase
from sidewise.regions import regions
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.classes.access import assignments_for
from sidewise.web.classes.models import Assignment, ClassMember, Work
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.forms import FreeCaseForm
from sidewise.web.practice.models import PracticeAttempt

SHOWN = 50
CHOOSES = not missing_modules("practice")
"""Whether the library that tells what fades is installed."""
only_students = roles(Role.STUDENT)


@dataclass(frozen=True, slots=True)
class AssignedLine:
    """A case that is set, and how this student stands with it."""

    assignment: Assignment
    """What is set, and by when."""
    state: str
    """not begun, begun, done."""
    overdue: bool
    """Whether its day is past and it is not done."""


@dataclass(frozen=True, slots=True)
class PractisePage:
    """What the student's first page of practice is given."""

    assigned: tuple[AssignedLine, ...]
    """What is set, by day."""
    open_attempts: tuple[PracticeAttempt, ...]
    """Cases that were begun."""
    done: tuple[PracticeAttempt, ...]
    """Cases that were finished, the latest first."""
    classes: tuple[ClassMember, ...]
    """The classes one is in."""
    form: FreeCaseForm
    """A case of one's own choosing."""
    chosen: NextCase | None
    """The case chosen for this student, and why; None where the chooser is not installed."""


@only_students
@require_http_methods(["GET", "POST"])
def practise(request: SignedInRequest) -> HttpResponse:
    """What is set and what was done; a POST begins a case of one's own choosing."""
    form = FreeCaseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        return redirect("practice-room", attempt=_begun(request, form).key)
    rows = PracticeAttempt.objects.filter(student=request.user).select_related("case", "assignment")
    attempts = list(rows.annotate(count=Count("steps"))[:SHOWN])
    context = PractisePage(
        assigned=tuple(_assigned_lines(request)),
        open_attempts=tuple(one for one in attempts if one.finished_at is None),
        done=tuple(one for one in attempts if one.finished_at is not None),
        classes=tuple(request.user.memberships.select_related("study_class__owner")),
        form=form,
        chosen=store.next_of(request.user, _region(request)) if CHOOSES else None,
    )
    wrong = request.method == "POST"
    return show(request, "practice/practise.html", context, status=422 if wrong else 200)


def _region(request: SignedInRequest) -> Region:
    name = request.POST.get("region", "")
    known = regions()
    return known.chosen(name if name in known else next(iter(known)), "region")


def _begun(request: SignedInRequest, form: FreeCaseForm) -> PracticeAttempt:
    region = _region(request)
    if CHOOSES and "chosen" in request.POST:
        return store.begin_next(request.user, region, form.cleaned_data["hints"])
    wishes = CaseWishes(difficulty=form.cleaned_data["difficulty"])
    case = store.drawn_case(region, secrets.randbelow(store.SEEDS), wishes)
    return store.begin(request.user, case, form.cleaned_data["hints"])


def _assigned_lines(request: SignedInRequest) -> list[AssignedLine]:
    found = list(assignments_for(request.user).filter(kind=store.KIND).order_by("due", "pk"))
    mine = {row.assignment_id: row for row in Work.objects.filter(student=request.user)}
    today = timezone.localdate()
    lines = []
    for one in found:
        work = mine.get(one.pk)
        state = "not begun" if work is None else "done" if work.done_at else "begun"
        lines.append(AssignedLine(one, state, state != "done" and today > one.due))
    return lines


@only_students
@require_POST
def go_on(request: SignedInRequest, assignment: UUID) -> HttpResponse:
    """Begin what was set, or go on with it."""
    mine = assignments_for(request.user).filter(kind=store.KIND)
    row = store.begin_assigned(request.user, get_object_or_404(mine, key=assignment))
    name = "practice-room" if row.finished_at is None else "practice-result"
    return redirect(name, attempt=row.key)
