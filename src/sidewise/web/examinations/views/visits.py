"""Today's list, one patient's visits in time, two visits side by side, and a new visit."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID, uuid4

from django.db.models import QuerySet
from django.http import Http404, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from sidewise.errors import UserError
from sidewise.ground.svg.shapes import svg
from sidewise.measure import FollowUp, follow
from sidewise.measure.drawings.pictures import follow_picture
from sidewise.measure.norms.tables import tables_of
from sidewise.measure.visits.days import ONE_DAY, latest_of_each_day, passed_over
from sidewise.measure.visits.persons import person_doubts
from sidewise.protocol import protocol_of
from sidewise.record import Context, Record
from sidewise.record.following import with_carried
from sidewise.regions import region_of_record, regions
from sidewise.web.accounts.models import Role
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.accounts.rules import doors_for, open_to_any_account, sees_patients
from sidewise.web.examinations.care_shown import VisitCare, care_of_visits
from sidewise.web.examinations.comparison import ComparedPlace, compare_visits
from sidewise.web.examinations.essentials import signed_by_other_knowledge
from sidewise.web.examinations.following import earlier_visit, kinds_offered, last_setting
from sidewise.web.examinations.forms import NewExaminationForm, now
from sidewise.web.examinations.lines import (
    PatientFlags,
    VisitLine,
    own_lines,
    patient_flags,
    visit_lines,
)
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.repair import LeftTrace, traces_for
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import open_examination
from sidewise.web.examinations.usual import TOURED, USUAL_SETTING
from sidewise.web.pages import show
from sidewise.web.parts import Door
from sidewise.web.patients.access import allowed, patients_of
from sidewise.web.patients.models import Patient

SHOWN = 30


@dataclass(frozen=True, slots=True)
class TodayPage:
    """What the first page after signing in is given."""

    examinations: tuple[VisitLine, ...]
    """What was examined today."""
    drafts: tuple[VisitLine, ...]
    """What was left open on other days."""
    recent: QuerySet[Patient]
    """The patients added last."""
    examines: bool
    """Whether this person acts as a clinician, to whom patients are shown at all."""
    elsewhere: tuple[Door, ...]
    """Where else this person may enter."""
    studies: bool
    """Whether this person is a student."""
    tour: bool
    """Whether the first tour is shown: until it was taken or skipped."""


@dataclass(frozen=True, slots=True)
class Course:
    """The follow-up of visits, or why there is none."""

    followed: FollowUp | None = None
    """The follow-up."""
    why_not: str = ""
    """Why there is none."""
    passed_over: str = ""
    """Which visits do not stand in it, because another of the same day does."""


@dataclass(frozen=True, slots=True)
class PatientPage:
    """What the page of one patient is given."""

    patient: Patient
    """Whose visits."""
    may_write: bool
    """Whether this person may begin another."""
    visits: tuple[Examination, ...]
    """The visits, the latest first."""
    lines: tuple[VisitLine, ...]
    """The same with what was raised at each."""
    flags: PatientFlags | None
    """What stands over the patient now."""
    doubts: tuple[str, ...]
    """What speaks against the visits being of one person."""
    course: FollowUp | None
    """Their follow-up."""
    no_course: str
    """Why there is none."""
    passed_over: str
    """Which visits do not stand in it."""
    care: tuple[VisitCare, ...]
    """What was done and planned at each visit, the latest first."""
    is_owner: bool
    """Whether this person may share the patient."""
    moved: tuple[LeftTrace, ...]
    """The visits that stood here and were moved to another patient."""
    otherwise: frozenset[UUID]
    """The visits that were signed by another knowledge than the present one."""


@dataclass(frozen=True, slots=True)
class ComparePage:
    """What two visits side by side are given."""

    patient: Patient
    """Whose visits."""
    earlier: Examination
    """The earlier one."""
    later: Examination
    """The later one."""
    same: bool
    """Whether one visit was chosen twice."""
    lines: tuple[ComparedPlace, ...]
    """What was found at either, line by line."""
    course: FollowUp | None
    """The follow-up of the two."""
    no_course: str
    """Why there is none."""


@dataclass(frozen=True, slots=True)
class NewExaminationPage:
    """What the page of a new examination is given."""

    form: NewExaminationForm
    """Who the patient is today, and which region where there are several."""
    patient: Patient
    """The patient."""
    earlier: Record | None
    """The visit that a follow-up would follow."""


@require_GET
@open_to_any_account
def today(request: SignedInRequest) -> HttpResponse:
    """What was examined today, and drafts left open on other days."""
    start = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    mine = Examination.objects.select_related("patient").filter(
        patient__in=patients_of(request.user)
    )
    mine = mine.exclude(state=Examination.State.DISCARDED)
    drafted = Examination.State.DRAFT
    context = TodayPage(
        examinations=visit_lines(mine.filter(examined_at__gte=start)[:SHOWN]),
        drafts=visit_lines(mine.filter(examined_at__lt=start, state=drafted)[:SHOWN]),
        recent=patients_of(request.user).order_by("-created_at")[:12],
        examines=sees_patients(request.user),
        elsewhere=tuple(door for door in doors_for(request.user) if door.page != "patients"),
        studies=request.user.has_role(Role.STUDENT),
        tour=sees_patients(request.user) and not request.session.get(TOURED, False),
    )
    return show(request, "examinations/visits/today.html", context)


def _doubts(visits: list[Examination]) -> tuple[str, ...]:
    kept = [visit for visit in visits if visit.state != Examination.State.DISCARDED]
    return person_doubts([current(visit).record for visit in kept])


@require_GET
def patient(request: SignedInRequest, key: UUID) -> HttpResponse:
    """One patient's visits in time."""
    who = allowed(request.user, key)
    visits = list(who.patient.examinations.all())
    found = _course(visits)
    moved = traces_for(request.user, who.patient)
    context = PatientPage(
        patient=who.patient,
        may_write=who.may_write,
        visits=tuple(visits),
        lines=own_lines(visits),
        flags=patient_flags(visits),
        doubts=_doubts(visits),
        course=found.followed,
        no_course=found.why_not,
        passed_over=found.passed_over,
        care=care_of_visits(visits),
        is_owner=who.patient.owner_id == request.user.pk,
        moved=moved,
        otherwise=signed_by_other_knowledge(visits),
    )
    return show(request, "examinations/visits/patient.html", context)


def _course(visits: list[Examination]) -> Course:
    """The follow-up of the visits that were not discarded, or why there is none."""
    kept = [visit for visit in visits if visit.state != Examination.State.DISCARDED]
    if len(kept) < 2:
        return Course(why_not="A course needs two visits.")
    records = [current(visit).record for visit in kept]
    if len(latest_of_each_day(records)) < 2:
        return Course(why_not=ONE_DAY)
    try:
        return Course(_followed(records), passed_over=passed_over(records))
    except UserError as error:
        return Course(why_not=f"No course can be drawn: {error.message}")


def _followed(records: list[Record]) -> FollowUp:
    days = latest_of_each_day(records)
    names = [f"{record.context.examined_at:%d %b %Y}" for record in days]
    region = region_of_record(days[0])
    return follow(days, protocol_of(region), tables_of(region), names=names)


@require_GET
def course(request: SignedInRequest, key: UUID) -> HttpResponse:
    """The picture of the course."""
    who = allowed(request.user, key)
    kept = who.patient.examinations.exclude(state=Examination.State.DISCARDED)
    try:
        found = _followed([current(visit).record for visit in kept])
    except (UserError, IndexError):
        raise Http404 from None
    return HttpResponse(svg(follow_picture(found), in_the_dark=True), content_type="image/svg+xml")


@require_GET
def compare(request: SignedInRequest, key: UUID) -> HttpResponse:
    """Two visits side by side: what is different, and whether it is more than error."""
    who = allowed(request.user, key)
    chosen = [_visit(who.patient, request.GET.get(name, "")) for name in ("a", "b")]
    earlier, later = sorted(chosen, key=lambda visit: visit.examined_at)
    same = earlier.pk == later.pk
    found = Course() if same else _course([earlier, later])
    context = ComparePage(
        patient=who.patient,
        earlier=earlier,
        later=later,
        same=same,
        lines=() if same else tuple(compare_visits(current(earlier), current(later))),
        course=found.followed,
        no_course=found.why_not,
    )
    return show(request, "examinations/visits/compare.html", context)


def _visit(patient: Patient, key: str) -> Examination:
    try:
        found = patient.examinations.filter(pk=UUID(key)).first()
    except ValueError:
        found = None
    if found is None:
        raise Http404
    return found


@require_http_methods(["GET", "POST"])
def new_examination(request: SignedInRequest, key: UUID) -> HttpResponse:
    """Begin an examination: who the patient is today, then the history."""
    who = allowed(request.user, key, write=True)
    only = regions().only
    visit = earlier_visit(who.patient, only, now()) if only else None
    earlier = current(visit).record if visit else None
    kinds = kinds_offered(protocol_of(only), can_follow=earlier is not None) if only else ()
    usual = request.session.get(USUAL_SETTING, "") or last_setting(request.user)
    form = NewExaminationForm(tuple(regions()), request.POST or None, kinds, usual)
    if request.method == "POST" and form.is_valid():
        region = form.region
        data = {
            **form.changes(),
            "patient": who.patient.code,
            "examined_at": now(),
            "examiner": request.user.signs_as,
        }
        kind = protocol_of(region).visits.kind(data.get("visit"))
        if kind.follows and earlier is not None:
            data = with_carried(data, earlier, protocol_of(region))
        context = Context.model_validate(data)
        opened = open_examination(who.patient, request.user, region.id, context, uuid4().hex, now())
        return redirect(f"{reverse('history', kwargs={'pk': opened.pk})}#core")
    status = 422 if form.is_bound else 200
    page = NewExaminationPage(form, who.patient, earlier)
    return show(request, "examinations/visits/new_examination.html", page, status=status)
