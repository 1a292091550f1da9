"""The teacher's view of a class's practice: what is set, what was done, a table of it."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from sidewise.errors import UserError
from sidewise.practice import practice_case
from sidewise.practice.class_progress import ClassProgress, StudentStanding, class_progress
from sidewise.practice.statements import FinishedCase, completed_statement
from sidewise.regions import regions
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.audit.log import Act, write
from sidewise.web.classes.access import allowed_class
from sidewise.web.classes.models import ClassMember, StudyClass
from sidewise.web.classes.store import members_of, set_work
from sidewise.web.pages import show
from sidewise.web.practice import store
from sidewise.web.practice.access import attempts_in, cases_of
from sidewise.web.practice.forms import SetCaseForm
from sidewise.web.practice.models import PracticeAttempt

only_teachers = roles(Role.TEACHER)
HEADINGS = ("student", "group", "case", "set", "begun", "finished", "steps", "minutes", "brier",
            "brier_of_perfect_reading", "flags_missed")  # fmt: skip
FIGURES = ("steps", "minutes", "brier", "perfect")
SHOWN = 10
"""Cases of one student in the list, the latest; the table has all."""


@dataclass(frozen=True, slots=True)
class StudentLine:
    """One student with the cases they finished."""

    member: ClassMember
    """Which student."""
    progress: StudentStanding
    """How they are doing."""
    attempts: tuple[PracticeAttempt, ...]
    """The latest first; not more than are shown."""
    more: int
    """How many more there are."""


@dataclass(frozen=True, slots=True)
class ProgressPage:
    """What the teacher's page of a class's practice is given."""

    study_class: StudyClass
    """Which class."""
    lines: tuple[StudentLine, ...]
    """Its students."""
    finished: int
    """How many cases were finished by all of them."""
    progress: ClassProgress
    """What is misjudged and missed by most."""
    may_write: bool
    """Whether this teacher may set cases."""


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
    found = _by_student(who.study_class)
    members = list(members_of(who.study_class))
    told = class_progress(
        {one.student.signs_as: [a.outcome or {} for a in found.get(one.student_id, ())]
         for one in members}
    )  # fmt: skip
    lines = tuple(
        _line(one, how, found.get(one.student_id, []))
        for one, how in zip(members, told.students, strict=True)
    )
    count = sum(len(there) for there in found.values())
    context = ProgressPage(who.study_class, lines, count, told, who.may_write)
    return show(request, "practice/progress.html", context)


def _line(
    member: ClassMember, how: StudentStanding, attempts: list[PracticeAttempt]
) -> StudentLine:
    return StudentLine(member, how, tuple(attempts[:SHOWN]), max(0, len(attempts) - SHOWN))


def _by_student(study_class: StudyClass) -> dict[int, list[PracticeAttempt]]:
    found: dict[int, list[PracticeAttempt]] = {}
    for one in attempts_in(study_class).order_by("-finished_at"):
        found.setdefault(one.student_id, []).append(one)
    return found


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
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(HEADINGS)
    found = _by_student(who.study_class)
    for member in members_of(who.study_class):
        rows.writerows(_cells(member, one) for one in found.get(member.student_id, ()))
    response = HttpResponse(out.getvalue(), content_type="text/csv; charset=utf-8")
    name = f"practice-{str(who.study_class.key)[:8]}.csv"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _cells(member: ClassMember, one: PracticeAttempt) -> list[str]:
    from sidewise.ground.tables import safe_cell

    outcome = one.outcome or {}
    told = (
        member.student.signs_as, member.group, f"SIMULATED {str(one.case.key)[:8]}",
        one.assignment.title if one.assignment else "", f"{one.begun_at:%Y-%m-%d %H:%M}",
        f"{one.finished_at:%Y-%m-%d %H:%M}", *(outcome.get(name, "") for name in FIGURES),
        "; ".join(outcome.get("flags_missed", ())),
    )  # fmt: skip
    return [safe_cell(str(cell)) for cell in told]


@only_teachers
@require_GET
def statements(request: SignedInRequest, study_class: UUID) -> HttpResponse:
    """Every finished case of the class as statements of the Experience API, in one JSON file."""
    who = allowed_class(request.user, study_class)
    write(Act.EXPORT, f"practice-class:{who.study_class.key}")
    site = request.build_absolute_uri("/")
    found = [
        completed_statement(_finished(one), site)
        for there in _by_student(who.study_class).values()
        for one in there
    ]
    text = json.dumps(found, indent=1, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json; charset=utf-8")
    name = f"statements-{str(who.study_class.key)[:8]}.json"
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


def _finished(one: PracticeAttempt) -> FinishedCase:
    assert one.finished_at is not None
    title = one.assignment.title if one.assignment else "A case of one's own"
    return FinishedCase(one.student.signs_as, str(one.key), str(one.case.key), title,
                        one.finished_at, one.outcome or {})  # fmt: skip
