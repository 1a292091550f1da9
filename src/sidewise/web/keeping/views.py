"""Pages of safekeeping: the key of a queue, exports, holds and erasure, health."""

from __future__ import annotations

import base64
import json
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.web import storage
from sidewise.web.accounts.models import Role, User
from sidewise.web.accounts.permissions import SignedInRequest, recently_confirmed, roles
from sidewise.web.accounts.queue_key import queue_key
from sidewise.web.accounts.rules import sees_patients
from sidewise.web.accounts.sessions import needs_no_factor
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.examinations.queue import held_in
from sidewise.web.keeping import erasure, export
from sidewise.web.keeping.models import Hold
from sidewise.web.marks.models import KeptSitting, SittingStudent
from sidewise.web.patients.access import allowed
from sidewise.web.patients.models import Patient
from sidewise.web.practice.access import own_attempt
from sidewise.web.supervised.access import supervised_visit, told_visit
from sidewise.web.supervised.models import LearnerVisit
from sidewise.web.supervised.store import end_consent

HELD = {"patient": "patient", "student": "person", "sitting": "sitting"}
"""The field of a hold for each kind of thing."""


@login_not_required
@require_GET
@shows_no_record
@needs_no_factor
def health(request: HttpRequest) -> HttpResponse:
    """For the proxy and the supervisor: whether the database answers and the disk has room.

    One word, and nothing else.
    """
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return HttpResponse("database\n", status=503, content_type="text/plain")
    if trouble := storage.present_trouble():
        return HttpResponse(f"{trouble}\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")


@login_not_required
@require_GET
@shows_no_record
def offline(request: HttpRequest) -> HttpResponse:
    """The worker that answers a reload without network; it must stand at the root of the site."""
    script = (settings.BASE / "static" / "sidewise" / "offline.js").read_text()
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@require_POST
@shows_no_record
def give_queue_key(request: SignedInRequest) -> HttpResponse:
    """The key of this person's queue in this browser (kept by the page in memory only).

    With it come the examinations in which entries of this person wait for a decision.
    """
    try:
        key = base64.b64encode(queue_key(request.user)).decode()
    except UserError as error:
        # Another signing key: the page says that what waits on the device cannot be opened.
        return JsonResponse({"error": error.message}, status=503)
    held = held_in(request.user)
    return JsonResponse({"owner": str(request.user.pk), "key": key, "held": held})


@require_GET
def export_patient(request: SignedInRequest, key: UUID) -> HttpResponse:
    """One patient's whole record as a file."""
    if not sees_patients(request.user):
        raise Http404
    who = allowed(request.user, key)
    write(Act.EXPORT, f"patient:{who.patient.key}")
    return _file(export.patient_export(who.patient), f"patient-{str(key)[:8]}.json")


@require_GET
def export_own(request: SignedInRequest) -> HttpResponse:
    """What is kept about oneself: account, practice, marks, who looked."""
    write(Act.EXPORT, f"account:{request.user.pk}")
    return _file(export.student_export(request.user, own=True), "my-record.json")


@roles(Role.STUDENT)
@require_http_methods(["GET", "POST"])
def erase_practice(request: SignedInRequest, attempt: UUID) -> HttpResponse:
    """A student erases one of their own practice cases, for good."""
    row = own_attempt(request.user, attempt)
    problem = ""
    if request.method == "POST":
        try:
            erasure.erase_own_attempt(row, request.user.username)
            return redirect("practise")
        except UserError as error:
            problem = error.message
    page = {"attempt": row, "problem": problem}
    return render(request, "keeping/erase_practice.html", page, status=422 if problem else 200)


@roles(Role.CLINICIAN)
@require_POST
def withdraw_consent(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """The patient does not agree any more: the learner sees nothing, and what they found goes."""
    row = supervised_visit(request.user, visit)
    end_consent(row)
    return _emptied(request, row, "learners", row.examination_id)


@roles(Role.STUDENT)
@require_POST
def erase_own_visit(request: SignedInRequest, visit: UUID) -> HttpResponse:
    """A student erases what they found at a patient, and what was made of it."""
    return _emptied(request, told_visit(request.user, visit), "learner-visits")


def _emptied(request: SignedInRequest, row: LearnerVisit, page: str, *about: Any) -> HttpResponse:
    if row.emptied_at is None:
        try:
            erasure.erase_learner_visit(row, request.user.username)
        except UserError as error:
            messages.error(request, error.message)
    return redirect(page, *about)


def _file(data: dict[str, Any], name: str) -> HttpResponse:
    text = json.dumps(data, indent=1, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@roles(Role.ADMINISTRATOR)
@require_http_methods(["GET", "POST"])
@recently_confirmed
def keeping(request: SignedInRequest) -> HttpResponse:
    """Holds and erasure. The administrator names a patient's code or a student; sees no finding."""
    problem, done = "", ""
    if request.method == "POST":
        try:
            done = _do(request)
        except UserError as error:
            problem = error.message
    context = {
        "holds": Hold.objects.filter(lifted_at=None).select_related(
            "patient", "person", "sitting__owner"
        ),
        "years": {kind: erasure.keep_years(kind) for kind in ("patient", "student")},
        "problem": problem, "done": done,
    }  # fmt: skip
    return render(request, "keeping/keeping.html", context, status=422 if problem else 200)


def _do(request: SignedInRequest) -> str:
    deed, user = request.POST.get("deed", ""), request.user.username
    if deed == "lift":
        return _lift(request.POST.get("hold", ""), user)
    kind, thing = _named(request)
    if deed == "hold":
        reason = request.POST.get("reason", "").strip()[:200]
        if not reason:
            raise UserError("hold", None, "a reason", "Say who ordered it and under which number.")
        field = HELD.get(kind)
        if field is None:
            raise UserError("hold", "one student of a sitting", "the sitting, or their account",
                            "Hold the whole sitting.")  # fmt: skip
        with gathered():
            Hold.objects.create(**{field: thing}, reason=reason, set_by=user)
            write(Act.HOLD, f"{kind}:{_number(thing)}")
        return "The hold is in force."
    if deed == "erase":
        if request.POST.get("again", "").strip() != request.POST.get("name", "").strip():
            raise UserError("erase", "another name the second time", "the same name twice")
        if kind == "patient":
            erasure.erase_patient(thing, user)
        elif kind == "sitting":
            erasure.erase_sitting(thing, user)
        elif kind == "sitting-student":
            erasure.erase_sitting_student(thing, user)
        else:
            erasure.erase_student(thing, user)
        return "Erased."
    raise UserError("keeping", deed, "hold, lift or erase")


def _lift(number: str, user: str) -> str:
    rows = Hold.objects.filter(lifted_at=None)
    row = get_object_or_404(rows, pk=int(number) if number.isdecimal() else 0)
    row.lifted_by, row.lifted_at = user, timezone.now()
    with gathered():
        row.save(update_fields=["lifted_by", "lifted_at"])
        write(Act.HOLD_LIFTED, f"hold:{row.pk}")
    return "The hold has been lifted."


def _named(request: SignedInRequest) -> tuple[str, Any]:
    kind, name = request.POST.get("kind", ""), request.POST.get("name", "").strip()
    if kind == "patient" and (patient := _patient(name)):
        return kind, patient
    if kind == "student" and (person := User.objects.filter(username=name).first()):
        return kind, person
    if kind == "sitting" and (sitting := _sitting(name)):
        return kind, sitting
    if kind == "sitting-student" and (row := _sitting_student(name)):
        return kind, row
    raise UserError(
        "keeping", name,
        "the code of a patient, the name of a student, or owner: title of a sitting here",
    )  # fmt: skip


def _patient(name: str) -> Patient | None:
    """By code; where two owners use it, by "owner: code"."""
    owner, colon, code = name.partition(": ")
    whole = Patient.objects.filter(code=name)
    found = whole or Patient.objects.filter(code=code, owner__username=owner) if colon else whole
    if len(found) > 1:
        raise UserError("keeping", "a code that two owners use", "the owner's name, then the code",
                        "Type it as NAME: CODE.")  # fmt: skip
    return next(iter(found), None)


def _sitting(name: str) -> KeptSitting | None:
    """By the owner's name and the title, as "owner: title"; both, since titles repeat."""
    owner, _, title = name.partition(": ")
    found = list(KeptSitting.objects.filter(owner__username=owner, title=title))
    if len(found) > 1:
        raise UserError("keeping", "a title given twice", "one sitting of that title",
                        "Ask the teacher which one; another title tells them apart.")  # fmt: skip
    return next(iter(found), None)


def _sitting_student(name: str) -> SittingStudent | None:
    """By owner, title and code, as "owner: title: code"."""
    sitting, _, code = name.rpartition(": ")
    found = _sitting(sitting)
    return found.students.select_related("account").filter(code=code).first() if found else None


def _number(thing: Any) -> str:
    return str(thing.key) if isinstance(thing, Patient | KeptSitting) else str(thing.pk)
