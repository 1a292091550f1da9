"""The supervisor's pages: who examines beside them, and the countersignature."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest, roles
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.models import Examination
from sidewise.web.pages import show
from sidewise.web.supervised import store
from sidewise.web.supervised.access import supervised_visit
from sidewise.web.supervised.forms import ConsentForm, RemarkForm
from sidewise.web.supervised.lines import raised_by
from sidewise.web.supervised.models import LearnerVisit

only_clinicians = roles(Role.CLINICIAN)


@dataclass(frozen=True, slots=True)
class LearnerVisitLine:
    """One learner at this examination. alarm: flags that what they found raises."""

    visit: LearnerVisit
    alarm: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LearnersPage:
    """What the page of the learners at one examination is given."""

    examination: Examination
    """The examination, with the patient's code."""
    lines: tuple[LearnerVisitLine, ...]
    """Its learners, the latest first."""
    form: ConsentForm
    """Another learner, with the patient's consent."""
    may_begin: bool
    """Whether a learner may still begin: before the signature."""
    problem: str
    """Why nobody began."""


@dataclass(frozen=True, slots=True)
class CountersignPage:
    """What the page of a countersignature is given."""

    visit: LearnerVisit
    """The visit."""
    why_not: str
    """Why nothing of it is shown yet; "" where it is."""
    told: dict[str, Any] | None
    """How the two compare; None while it is not shown."""
    form: RemarkForm
    """A word to the learner."""


@only_clinicians
@require_http_methods(["GET", "POST"])
def learners(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Who examines beside one; a POST lets a student begin, with the patient's consent."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    form = ConsentForm(request.POST or None)
    problem = ""
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            store.begin_visit(examination, request.user, data["student"].strip(), data["how"],
                              int(data["minutes"]))  # fmt: skip
            return redirect("learners", pk=pk)
        except UserError as error:
            problem = error.message
    rows = examination.learner_visits.select_related("student", "supervisor", "examination")
    context = LearnersPage(
        examination=examination, lines=tuple(LearnerVisitLine(one, _alarm(one)) for one in rows),
        form=form, may_begin=examination.state == Examination.State.DRAFT, problem=problem,
    )  # fmt: skip
    status = 422 if request.method == "POST" else 200
    return show(request, "supervised/learners.html", context, status=status)


def _alarm(visit: LearnerVisit) -> tuple[str, ...]:
    """A flag that a learner finds is told at once: the patient's safety comes before blinding."""
    if visit.emptied_at is not None:
        return ()
    return raised_by(store.record_of(visit, store.findings_standing(visit).values()))


@only_clinicians
@require_http_methods(["GET", "POST"])
def countersign(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """What the learner found beside what was signed; shown only after the signature."""
    row = supervised_visit(request.user, visit)
    form = RemarkForm(request.POST or None)
    why_not = "" if row.feedback else store.may_be_countersigned(row)
    if request.method == "POST" and form.is_valid() and not why_not:
        try:
            store.countersign_visit(row, request.user, form.cleaned_data["remark"].strip())
            return redirect("learner-countersign", visit=visit)
        except UserError as error:
            why_not = error.message
    told = row.feedback or (None if why_not else store.comparison_of(row).to_json())
    context = CountersignPage(row, why_not, told, form)
    status = 422 if request.method == "POST" else 200
    return show(request, "supervised/countersign.html", context, status=status)


@only_clinicians
@require_POST
def end(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """The learner sees nothing of the patient from here on."""
    row = supervised_visit(request.user, visit)
    store.end_visit(row)
    return redirect("learners", pk=row.examination_id)
