"""Today's list, patients by code, one patient's visits in time, and two visits side by side."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID, uuid4

from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from sidewise.errors import UserError
from sidewise.measure import FollowUp, follow
from sidewise.measure.draw import svg
from sidewise.measure.pictures import follow_picture
from sidewise.protocol import load_protocol, regions
from sidewise.record import Context
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import open_examination
from sidewise.web.pages import show
from sidewise.web.patients.access import allowed, patients_of
from sidewise.web.patients.compare import Compared, compared
from sidewise.web.patients.forms import ContextForm, PatientForm, now
from sidewise.web.patients.models import Patient

SHOWN = 60


@dataclass(frozen=True, slots=True)
class TodayPage:
    """What the first page after signing in is given."""

    examinations: QuerySet[Examination]
    """What was examined today."""
    drafts: QuerySet[Examination]
    """What was left open on other days."""
    recent: QuerySet[Patient]
    """The patients added last."""


@dataclass(frozen=True, slots=True)
class PatientsPage:
    """What the list of patients is given."""

    patients: QuerySet[Patient]
    """Those whose code fits."""
    wanted: str
    """What was looked for."""
    more: bool
    """Whether more fit than are shown."""


@dataclass(frozen=True, slots=True)
class NewPatientPage:
    """What the page of a new patient is given."""

    form: PatientForm
    """The code."""


@dataclass(frozen=True, slots=True)
class Course:
    """The follow-up of visits, or why there is none."""

    followed: FollowUp | None = None
    """The follow-up."""
    why_not: str = ""
    """Why there is none."""


@dataclass(frozen=True, slots=True)
class PatientPage:
    """What the page of one patient is given."""

    patient: Patient
    """Whose visits."""
    may_write: bool
    """Whether this person may begin another."""
    visits: tuple[Examination, ...]
    """The visits, the latest first."""
    course: FollowUp | None
    """Their follow-up."""
    no_course: str
    """Why there is none."""


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
    lines: tuple[Compared, ...]
    """What was found at either, line by line."""
    course: FollowUp | None
    """The follow-up of the two."""
    no_course: str
    """Why there is none."""


@dataclass(frozen=True, slots=True)
class NewExaminationPage:
    """What the page of a new examination is given."""

    form: ContextForm
    """Who the patient is today."""
    patient: Patient
    """The patient."""


@require_GET
def today(request: HttpRequest) -> HttpResponse:
    """What was examined today, and drafts left open on other days."""
    start = timezone.localtime().replace(hour=0, minute=0, second=0, microsecond=0)
    mine = Examination.objects.select_related("patient").filter(
        patient__in=patients_of(request.user)
    )
    mine = mine.exclude(state=Examination.State.DISCARDED)
    context = TodayPage(
        examinations=mine.filter(examined_at__gte=start)[:SHOWN],
        drafts=mine.filter(examined_at__lt=start, state=Examination.State.DRAFT)[:SHOWN],
        recent=patients_of(request.user).order_by("-created_at")[:12],
    )
    return show(request, "patients/today.html", context)


@require_http_methods(["GET", "POST"])
def patients(request: HttpRequest) -> HttpResponse:
    """Patients by code. A search is posted, so that no code stands in an address or a log."""
    wanted = request.POST.get("code", "").strip()
    found = patients_of(request.user).order_by("code")
    if wanted:
        found = found.filter(code__icontains=wanted)
    context = PatientsPage(found[:SHOWN], wanted, more=found.count() > SHOWN)
    template = "list_part" if request.htmx else "list"
    return show(request, f"patients/{template}.html", context)


@require_http_methods(["GET", "POST"])
def new_patient(request: HttpRequest) -> HttpResponse:
    """A new patient, known by a code."""
    form = PatientForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        patient = Patient.objects.create(code=form.cleaned_data["code"], owner=request.user)
        return redirect("new-examination", key=patient.key)
    status = 422 if form.is_bound else 200
    return show(request, "patients/new.html", NewPatientPage(form), status=status)


@require_GET
def patient(request: HttpRequest, key: UUID) -> HttpResponse:
    """One patient's visits in time."""
    who = allowed(request.user, key)
    visits = list(who.patient.examinations.all())
    found = _course(visits)
    context = PatientPage(who.patient, who.may_write, tuple(visits), found.followed, found.why_not)
    return show(request, "patients/patient.html", context)


def _course(visits: list[Examination]) -> Course:
    """The follow-up of the visits that were not discarded, or why there is none."""
    kept = [visit for visit in visits if visit.state != Examination.State.DISCARDED]
    if len(kept) < 2:
        return Course(why_not="A course needs two visits.")
    try:
        return Course(_followed(kept))
    except UserError as error:
        return Course(why_not=f"No course can be drawn: {error.message}")


def _followed(visits: list[Examination]) -> FollowUp:
    records = [current(visit).record for visit in sorted(visits, key=lambda v: v.examined_at)]
    names = [f"{record.context.examined_at:%d %b %Y}" for record in records]
    return follow(records, load_protocol(records[0].region), names=names)


@require_GET
def course(request: HttpRequest, key: UUID) -> HttpResponse:
    """The picture of the course."""
    who = allowed(request.user, key)
    kept = who.patient.examinations.exclude(state=Examination.State.DISCARDED)
    try:
        found = _followed(list(kept))
    except (UserError, IndexError):
        raise Http404 from None
    return HttpResponse(svg(follow_picture(found)), content_type="image/svg+xml")


@require_GET
def compare(request: HttpRequest, key: UUID) -> HttpResponse:
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
        lines=() if same else tuple(compared(current(earlier), current(later))),
        course=found.followed,
        no_course=found.why_not,
    )
    return show(request, "patients/compare.html", context)


def _visit(patient: Patient, key: str) -> Examination:
    try:
        found = patient.examinations.filter(pk=UUID(key)).first()
    except ValueError:
        found = None
    if found is None:
        raise Http404
    return found


@require_http_methods(["GET", "POST"])
def new_examination(request: HttpRequest, key: UUID) -> HttpResponse:
    """Begin an examination: who the patient is today, then the history."""
    who = allowed(request.user, key, write=True)
    form = ContextForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        context = Context.model_validate(
            {
                **form.changes(),
                "patient": who.patient.code,
                "examined_at": now(),
                "examiner": request.user.signs_as,
            }
        )
        region = regions()[0]
        opened = open_examination(who.patient, request.user, region, context, uuid4().hex, now())
        return redirect("stage", pk=opened.pk, stage="prepare")
    status = 422 if form.is_bound else 200
    context = NewExaminationPage(form, who.patient)
    return show(request, "patients/new_examination.html", context, status=status)
