"""The list of classes, one class with who has done what, its colleagues, and work withdrawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Count, QuerySet
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.teaching.classes import WorkState
from sidewise.web.accounts.models import Role, User
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.classes import store
from sidewise.web.classes.access import AllowedClass, allowed_class, classes_of
from sidewise.web.classes.forms import CodesForm, ColleagueForm, MembersForm, NewClassForm
from sidewise.web.classes.models import Assignment, ClassMember, ClassShare, StudyClass
from sidewise.web.pages import show

NOBODY = "Nobody else who teaches here has this name."
only_teachers = roles(Role.TEACHER)


@dataclass(frozen=True, slots=True)
class ClassesPage:
    """What the teacher's list of classes is given."""

    form: NewClassForm
    """A title and a region."""
    classes: QuerySet[StudyClass]
    """Those this teacher may read, the latest first."""


@dataclass(frozen=True, slots=True)
class MemberLine:
    """One student with the state of each piece of work."""

    member: ClassMember
    """Which student, in which group."""
    states: tuple[WorkState, ...]
    """In the order of the assignments."""
    overdue: int
    """How many are past their day."""


@dataclass(frozen=True, slots=True)
class ClassPage:
    """What the page of one class is given."""

    study_class: StudyClass
    """Which class."""
    lines: tuple[MemberLine, ...]
    """Its students, with what each has done."""
    assignments: tuple[Assignment, ...]
    """What is set, by day."""
    may_write: bool
    """Whether this teacher may change it."""
    is_owner: bool
    """Whether this teacher made it."""
    shares: tuple[ClassShare, ...]
    """Colleagues who may read or change it; only for its owner."""
    adding: MembersForm
    """Students by account."""
    coding: CodesForm
    """How many codes."""
    sharing: ColleagueForm
    """A colleague."""
    codes: tuple[str, ...] = ()
    """Codes that were just made; never shown again."""
    problem: str = ""
    """What is wrong with what was sent."""


@only_teachers
@require_http_methods(["GET", "POST"])
def classes(request: SignedInRequest) -> HttpResponse:
    """Every class of this teacher; a title sent here begins another."""
    form = NewClassForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        made = store.begin_class(request.user, data["title"], data["region"])
        return redirect("class", study_class=made.key)
    rows = classes_of(request.user).select_related("owner")
    rows = rows.annotate(students=Count("members", distinct=True)).order_by("-created_at")
    wrong = request.method == "POST"
    return show(request, "classes/list.html", ClassesPage(form, rows), status=422 if wrong else 200)


@only_teachers
@require_GET
def study_class(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """One class: its students, what is set, who has done what."""
    return class_page(request, allowed_class(request.user, study_class))


def class_page(request: SignedInRequest, who: AllowedClass, **more: Any) -> HttpResponse:
    """The page of a class, with what was just made or is wrong in `more`."""
    found = who.study_class
    members = list(store.members_of(found))
    work = store.work_of(found, members, timezone.localdate())
    by_code = {line.student: line for line in work.lines}
    lines = (by_code[one.student.signs_as] for one in members)
    shares = found.shares.select_related("user").order_by("user__username")
    forms = {"adding": MembersForm(), "coding": CodesForm(initial={"count": 5}),
             "sharing": ColleagueForm()}  # fmt: skip
    context = ClassPage(
        study_class=found, may_write=who.may_write, is_owner=who.is_owner,
        lines=tuple(
            MemberLine(one, line.states, line.overdue)
            for one, line in zip(members, lines, strict=True)
        ),
        assignments=tuple(found.assignments.filter(withdrawn_at=None)),
        shares=tuple(shares) if who.is_owner else (), **{**forms, **more},
    )  # fmt: skip
    wrong = context.problem or any(
        form.errors for form in (context.adding, context.coding, context.sharing)
    )
    return show(request, "classes/class.html", context, status=422 if wrong else 200)


@only_teachers
@require_POST
def share(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Share with a colleague, or stop; only whoever made the class."""
    who = allowed_class(request.user, study_class)
    if not who.is_owner:
        raise PermissionDenied
    if "stop" in request.POST:
        number = request.POST["stop"]
        rows = ClassShare.objects.filter(study_class=who.study_class)
        with gathered():
            rows.filter(pk=int(number) if number.isdecimal() else 0).delete()
            write(Act.WRITE, f"class-share:{who.study_class.key}")
        return redirect("class", study_class=study_class)
    form = ColleagueForm(request.POST)
    colleague = _colleague(form, request.user) if form.is_valid() else None
    if colleague is None:
        if not form.errors:
            form.add_error("name", NOBODY)
        return class_page(request, who, sharing=form)
    with gathered():
        ClassShare.objects.update_or_create(
            study_class=who.study_class, user=colleague,
            defaults={"may_write": form.cleaned_data["may_write"]},
        )  # fmt: skip
        write(Act.WRITE, f"class-share:{who.study_class.key}/{colleague.pk}")
    return redirect("class", study_class=study_class)


def _colleague(form: ColleagueForm, owner: User) -> User | None:
    name = form.cleaned_data["name"]
    found = User.objects.filter(username=name, is_active=True).exclude(pk=owner.pk).first()
    return found if found is not None and found.has_role(Role.TEACHER) else None


@only_teachers
@require_POST
def withdraw(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Take back what was set; what was done of it stays."""
    who = allowed_class(request.user, study_class, write=True)
    number = request.POST.get("assignment", "")
    rows = who.study_class.assignments.filter(withdrawn_at=None)
    store.withdraw(get_object_or_404(rows, pk=int(number) if number.isdecimal() else 0))
    return redirect("class", study_class=study_class)
