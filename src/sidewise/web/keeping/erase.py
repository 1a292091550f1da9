"""Erasing one patient's or one student's record: only when it may be, and for good.

Refused while a legal hold stands, while the retention time of this place has not passed, and
while no retention time has been set at all. What was erased is noted by its number only, here and
in a file beside the database, so that restoring an older backup erases it again.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from django.apps import apps
from django.conf import settings
from django.contrib.sessions.models import Session
from django.db import transaction
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.accounts.models import Role, User
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import Examination, LedgerEntry
from sidewise.web.home import home
from sidewise.web.keeping.export import patient_export, student_export
from sidewise.web.keeping.guard import erasing
from sidewise.web.keeping.models import Erased, HeldEntry, Hold
from sidewise.web.patients.models import Patient

YEAR = timedelta(days=365.25)


def erase_patient(patient: Patient, by: str, now: datetime | None = None) -> Erased:
    """Erase everything of one patient; UserError says why not."""
    last = patient.examinations.order_by("-examined_at").values_list("examined_at", flat=True)
    _may_be_erased("patient", patient.holds, last.first() or patient.created_at, now)
    with transaction.atomic():
        done = _noted("patient", str(patient.key), patient_export(patient), by)
        _delete_patient(patient)
    return done


def erase_student(person: User, by: str, now: datetime | None = None) -> Erased:
    """Erase a student's practice, marks and account; UserError says why not."""
    if person.role != Role.STUDENT:
        raise UserError("erase", person.role, "a student's account",
                        "Stop the account instead: its name stands in records.")  # fmt: skip
    last = person.last_login or person.date_joined
    _may_be_erased("student", person.holds, last, now)
    with transaction.atomic():
        done = _noted("student", str(person.pk), student_export(person), by)
        _delete_student(person)
    return done


def keep_years(kind: str) -> float | None:
    """How long records of this kind must be kept here; None while nobody has said so."""
    text = settings.KEEP_YEARS[kind]
    return float(text) if text else None


def _may_be_erased(kind: str, holds: Any, last: datetime, now: datetime | None) -> None:
    if holds.filter(lifted_at=None).exists():
        raise UserError("erase", "a legal hold", "no hold on this record",
                        "Whoever set the hold, or an administrator, lifts it first.")  # fmt: skip
    years = keep_years(kind)
    if years is None:
        raise UserError("erase", "no retention time set", "how long records must be kept here",
                        f"Set SIDEWISE_KEEP_{kind.upper()}_YEARS by your local law.")  # fmt: skip
    until = last + years * YEAR
    if (now or timezone.now()) < until:
        raise UserError("erase", f"a record to be kept until {until.date()}",
                        "a record past its retention time")  # fmt: skip


def _noted(kind: str, number: str, exported: dict[str, Any], by: str) -> Erased:
    text = json.dumps(exported, sort_keys=True, default=str)
    sha = hashlib.sha256(text.encode()).hexdigest()
    done = Erased.objects.create(kind=kind, number=number, digest=sha, by=by)
    write(Act.ERASED, f"{kind}:{number}")
    transaction.on_commit(lambda: _note_outside(kind, number))
    return done


def _delete_patient(patient: Patient) -> None:
    examinations = Examination.objects.filter(patient=patient)
    with erasing("ledger"):
        HeldEntry.objects.filter(examination__in=examinations).delete()
        LedgerEntry.objects.filter(examination__in=examinations).delete()
        examinations.delete()
        Hold.objects.filter(patient=patient).delete()
        patient.delete()


def student_models() -> list[tuple[type[Any], str]]:
    """Every model of student data with its field that names the student.

    A model says so itself: `student_field = "student"`.
    """
    return [(m, m.student_field) for m in apps.get_models() if hasattr(m, "student_field")]


def _delete_student(person: User) -> None:
    Session.objects.filter(session_key__in=person.signed_in.values("session_key")).delete()
    for model, field in student_models():
        model._default_manager.filter(**{field: person}).delete()
    person.delete()


def _outside() -> Path:
    return home() / "erased"


def _note_outside(kind: str, number: str) -> None:
    descriptor = os.open(_outside(), os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    with os.fdopen(descriptor, "a") as file:
        file.write(f"{kind} {number}\n")
        file.flush()
        os.fsync(file.fileno())


def noted_outside() -> Iterator[tuple[str, str]]:
    """What was erased here, by kind and number; UserError for a line that says neither.

    Passing such a line over could bring back somebody who was erased.
    """
    if not _outside().exists():
        return
    for place, text in enumerate(_outside().read_text(errors="replace").splitlines(), 1):
        kind, _, number = text.strip().partition(" ")
        if not _names_one(kind, number):
            where, do = (
                f"{_outside().name}, line {place}",
                "Put the file right, then restore again.",
            )
            raise UserError(where, text, "patient KEY or student NUMBER", do)
        yield kind, number


def _names_one(kind: str, number: str) -> bool:
    if kind == "student":
        return number.isascii() and number.isdigit() and len(number) <= 18
    try:
        return kind == "patient" and bool(UUID(number))
    except ValueError:
        return False


def erase_again() -> int:
    """After a restore: erase what had been erased since the backup was made; how many."""
    again = 0
    for kind, number in noted_outside():
        with transaction.atomic():
            if kind == "patient":
                found = Patient.objects.filter(key=number).first()
                delete = _delete_patient
            else:
                found = User.objects.filter(pk=number, role=Role.STUDENT).first()
                delete = _delete_student
            if found is not None:
                write(Act.ERASED, f"{kind}:{number}", who="system")
                delete(found)
                again += 1
    return again
