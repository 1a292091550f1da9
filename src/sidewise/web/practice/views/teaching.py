"""The teacher's view of a class's practice: what is set, what was done, a table of it."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from sidewise.errors import UserError
from sidewise.practice import practice_case
from sidewise.practice.class_figures import (
    LeftOut,
    class_figures,
    played_table,
    statements_text,
)
from sidewise.regions import regions
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.audit.log import Act, write
from sidewise.web.classes.access import allowed_class
from sidewise.web.classes.models import Assignment, StudyClass
from sidewise.web.classes.store import set_work
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.access import cases_of
from sidewise.web.practice.class_lines import (
    SHOWN,
    MisreadLine,
    StudentLine,
    class_practice,
    misread_lines,
    student_lines,
)
from sidewise.web.practice.forms import SetCaseForm

only_teachers = roles(Role.TEACHER)


@dataclass(frozen=True, slots=True)
class ProgressPage:
    """What the teacher's page of a class's practice is given."""

    study_class: StudyClass
    """Which class."""
    lines: tuple[StudentLine, ...]
    """Its students, who needs help first."""
    finished: int
    """How many cases were finished by all of them."""
    unread: int
    """How many of these are in no figure, for want of feedback that can be read."""
    misread: tuple[MisreadLine, ...]
    """Findings that most weigh wrongly."""
    left_out: tuple[LeftOut, ...]
    """What most leave out or do one-sidedly."""
    flags_missed: tuple[LeftOut, ...]
    """Every flag that was missed, by most first."""
    may_write: bool
    """Whether this teacher may set cases."""
    acted: tuple[Assignment, ...]
    """What is set that an actor can play: everybody has the same patient."""


@dataclass(frozen=True, slots=True)
class SetCasePage:
    """What the page for setting a case is given."""

    study_class: StudyClass
    """For whom."""
    form: SetCaseForm
    """What is set."""
    problem: str
    """Why it was not set."""


@only_teachers
@require_GET
def progress(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """What the students of a class practised: a constant number of queries for any number."""
    who = allowed_class(request.user, study_class)
    found = class_practice(who.study_class)
    told = class_figures(found.members, found.played)
    set_here = who.study_class.assignments.filter(kind=store.KIND, withdrawn_at=None)
    context = ProgressPage(
        study_class=who.study_class, lines=student_lines(found, told.progress),
        finished=told.cases + found.unread, unread=found.unread,
        misread=misread_lines(told.misread), left_out=told.left_out[:SHOWN],
        flags_missed=told.flags_missed, may_write=who.may_write,
        acted=tuple(one for one in set_here if store.is_common(one)),
    )  # fmt: skip
    return show(request, "practice/progress.html", context)


@only_teachers
@require_http_methods(["GET", "POST"])
def set_case(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Set a case, or a kind of case, for the class or one of its groups."""
    who = allowed_class(request.user, study_class, write=True)
    here = cases_of(request.user).filter(region=who.study_class.region)
    own = [(str(one.key), one.title) for one in here]
    form = SetCaseForm(own, request.POST or None)
    problem = ""
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            _check(who.study_class, form)
            set_work(who.study_class, request.user, data["title"], data["group"], data["due"],
                     store.KIND, form.what)  # fmt: skip
            return redirect("class", study_class=study_class)
        except UserError as error:
            problem = error.message
    context = SetCasePage(who.study_class, form, problem)
    wrong = request.method == "POST"
    return show(request, "practice/set.html", context, status=422 if wrong else 200)


def _check(study_class: StudyClass, form: SetCaseForm) -> None:
    """Draw one as it was wished for; UserError where wishes cannot be met."""
    if "case" not in form.what:
        region = regions().chosen(study_class.region)
        practice_case(region, form.what["seed"] or 0, store.wishes_from(form.what))


@only_teachers
@require_GET
def table(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Every finished case of the class, as CSV."""
    who = allowed_class(request.user, study_class)
    write(Act.EXPORT, f"practice-class:{who.study_class.key}")
    text = played_table(class_practice(who.study_class).played)
    return _file(text, "text/csv", f"practice-{str(who.study_class.key)[:8]}.csv")


def _file(text: str, kind: str, name: str) -> HttpResponse:
    response = HttpResponse(text, content_type=f"{kind}; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@only_teachers
@require_GET
def statements(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Every finished case of the class as statements of the Experience API, in one JSON file."""
    who = allowed_class(request.user, study_class)
    write(Act.EXPORT, f"practice-class:{who.study_class.key}")
    found = class_practice(who.study_class).played
    text = statements_text(found, request.build_absolute_uri("/"))
    return _file(text, "application/json", f"statements-{str(who.study_class.key)[:8]}.json")
