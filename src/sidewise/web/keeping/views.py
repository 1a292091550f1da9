"""Pages of safekeeping: the queue's door, held entries, exports, holds and erasure, health."""

from __future__ import annotations

import json
from typing import Any
from uuid import UUID

from django.conf import settings
from django.contrib.auth.decorators import login_not_required
from django.db import DatabaseError, connection
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from sidewise.errors import UserError
from sidewise.web.accounts.models import Role, User
from sidewise.web.accounts.rules import sees_patients
from sidewise.web.accounts.who_may import recently_confirmed, roles
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.store import folded
from sidewise.web.keeping import erase, export, queue
from sidewise.web.keeping.models import HeldEntry, Hold
from sidewise.web.patients.access import allowed, allowed_examination
from sidewise.web.patients.models import Patient


@login_not_required
@require_GET
def health(request: HttpRequest) -> HttpResponse:
    """For the proxy and the supervisor: whether the database answers. Says nothing else."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return HttpResponse("database\n", status=503, content_type="text/plain")
    return HttpResponse("ok\n", content_type="text/plain")


@login_not_required
@require_GET
def offline(request: HttpRequest) -> HttpResponse:
    """The worker that answers a reload without network; it must stand at the root of the site."""
    script = (settings.BASE / "static" / "sidewise" / "offline.js").read_text()
    return HttpResponse(script, content_type="text/javascript; charset=utf-8")


@require_POST
def take_queue(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Entries that a browser queued; sent again they count once."""
    examination, _ = allowed_examination(request.user, pk, write=True)
    try:
        taken = queue.take_in(examination, request.user, request.body)
    except UserError as error:
        return JsonResponse({"error": error.message}, status=422)
    return JsonResponse(taken.as_json())


@require_http_methods(["GET", "POST"])
def held(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Entries that arrived too late: a person adds or drops each."""
    examination, may_write = allowed_examination(request.user, pk, write=request.method == "POST")
    problem = ""
    if request.method == "POST":
        number = request.POST.get("held", "")
        rows = examination.held.filter(settled_at=None)
        row = get_object_or_404(rows, pk=int(number) if number.isdecimal() else 0)
        problem = _settle(request, row)
        if not problem:
            return redirect("held", pk=pk)
    lines = [(row, _words(row), queue.line_in(row.entry)) for row in queue.open_held(examination)]
    context = {"examination": examination, "held": lines, "problem": problem}
    context["may_write"] = may_write
    return render(request, "keeping/held.html", context, status=422 if problem else 200)


def _settle(request: HttpRequest, row: HeldEntry) -> str:
    how = request.POST.get("how", "")
    if how not in ("add", "drop"):
        return "Choose: add it or drop it."
    if how == "add":
        try:
            queue.add_held(row, folded(row.examination).record.context.examiner)
        except UserError as error:
            return error.message
    queue.settle(row, request.user.username, how)
    return ""


def _words(row: HeldEntry) -> str:
    deed = row.entry.get("deed")
    if isinstance(deed, dict) and deed.get("do") == "state":
        return f"{deed.get('field')}: {deed.get('value')}"[:300]
    finding = deed.get("finding") if isinstance(deed, dict) else None
    if not isinstance(finding, dict):
        return "an entry that could not be read"
    parts = [finding.get("item"), finding.get("side"), finding.get("mode"), finding.get("status")]
    value = finding.get("value")
    parts += (
        [f"{k} {v}" for k, v in value.items() if v is not None] if isinstance(value, dict) else []
    )
    return ", ".join(str(part) for part in parts if part)[:300]


@require_GET
def export_patient(request: HttpRequest, key: UUID) -> HttpResponse:
    """One patient's whole record as a file."""
    if not sees_patients(request.user):
        raise Http404
    who = allowed(request.user, key)
    write(Act.EXPORT, f"patient:{who.patient.key}")
    return _file(export.patient_export(who.patient), f"patient-{str(key)[:8]}.json")


@require_GET
def export_own(request: HttpRequest) -> HttpResponse:
    """What is kept about oneself: account, practice, marks, who looked."""
    write(Act.EXPORT, f"account:{request.user.pk}")
    return _file(export.student_export(request.user), "my-record.json")


def _file(data: dict[str, Any], name: str) -> HttpResponse:
    text = json.dumps(data, indent=1, ensure_ascii=False)
    response = HttpResponse(text, content_type="application/json; charset=utf-8")
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response


@roles(Role.ADMINISTRATOR)
@require_http_methods(["GET", "POST"])
@recently_confirmed
def keeping(request: HttpRequest) -> HttpResponse:
    """Holds and erasure. The administrator names a patient's code or a student; sees no finding."""
    problem, done = "", ""
    if request.method == "POST":
        try:
            done = _do(request)
        except UserError as error:
            problem = error.message
    context = {
        "holds": Hold.objects.filter(lifted_at=None).select_related("patient", "person"),
        "years": {kind: erase.keep_years(kind) for kind in ("patient", "student")},
        "problem": problem, "done": done,
    }  # fmt: skip
    return render(request, "keeping/keeping.html", context, status=422 if problem else 200)


def _do(request: HttpRequest) -> str:
    deed, user = request.POST.get("deed", ""), request.user.username
    if deed == "lift":
        return _lift(request.POST.get("hold", ""), user)
    kind, thing = _named(request)
    if deed == "hold":
        reason = request.POST.get("reason", "").strip()[:200]
        if not reason:
            raise UserError("hold", None, "a reason", "Say who ordered it and under which number.")
        which = {"patient": thing} if kind == "patient" else {"person": thing}
        Hold.objects.create(**which, reason=reason, set_by=user)
        write(Act.HOLD, f"{kind}:{_number(thing)}")
        return "The hold stands."
    if deed == "erase":
        if request.POST.get("again", "").strip() != request.POST.get("name", "").strip():
            raise UserError("erase", "another name the second time", "the same name twice")
        erase.erase_patient(thing, user) if kind == "patient" else erase.erase_student(thing, user)
        return "Erased."
    raise UserError("keeping", deed, "hold, lift or erase")


def _lift(number: str, user: str) -> str:
    rows = Hold.objects.filter(lifted_at=None)
    row = get_object_or_404(rows, pk=int(number) if number.isdecimal() else 0)
    row.lifted_by, row.lifted_at = user, timezone.now()
    row.save(update_fields=["lifted_by", "lifted_at"])
    write(Act.HOLD_LIFTED, f"hold:{row.pk}")
    return "The hold is lifted."


def _named(request: HttpRequest) -> tuple[str, Any]:
    kind, name = request.POST.get("kind", ""), request.POST.get("name", "").strip()
    if kind == "patient" and (patient := Patient.objects.filter(code=name).first()):
        return kind, patient
    if kind == "student" and (person := User.objects.filter(username=name).first()):
        return kind, person
    raise UserError("keeping", name, "the code of a patient or the name of a student here")


def _number(thing: Any) -> str:
    return str(thing.key) if isinstance(thing, Patient) else str(thing.pk)
