"""Erasing a patient's or a student's record, or a sitting: only when it may be, and for good.

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
from django.db.models import QuerySet
from django.utils import timezone

from sidewise.errors import UserError
from sidewise.web.accounts.models import Role, User
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.examinations.models import (
    Examination,
    HeldEntry,
    LedgerEntry,
    MovedVisit,
)
from sidewise.web.home import home
from sidewise.web.keeping.export import (
    attempt_export,
    learner_visit_export,
    patient_export,
    sitting_export,
    sitting_student_export,
    student_export,
)
from sidewise.web.keeping.former_copy import discard_copies
from sidewise.web.keeping.guard import erasing
from sidewise.web.keeping.models import Erased, Hold
from sidewise.web.marks.models import (
    KeptSitting,
    MarksSheet,
    Settlement,
    SheetRows,
    SittingStudent,
)
from sidewise.web.patients.models import Patient
from sidewise.web.practice.models import PracticeAttempt, PracticeStep
from sidewise.web.supervised.models import LearnerFinding, LearnerVisit
from sidewise.web.supervised.store import empty

YEAR = timedelta(days=365.25)


def erase_patient(patient: Patient, by: str, now: datetime | None = None) -> Erased:
    """Erase everything of one patient; UserError says why not."""
    last = patient.examinations.order_by("-examined_at").values_list("examined_at", flat=True)
    _may_be_erased("patient", patient.holds, last.first() or patient.created_at, now)
    with gathered():
        done = _noted("patient", str(patient.key), patient_export(patient), by)
        _delete_patient(patient)
    return done


def erase_student(person: User, by: str, now: datetime | None = None) -> Erased:
    """Erase a student's practice, marks and account; UserError says why not."""
    if person.role != Role.STUDENT:
        raise UserError("erase", person.role, "a student's account",
                        "Stop the account instead: its name stands in records.")  # fmt: skip
    if Hold.objects.filter(lifted_at=None, sitting__students__account=person).exists():
        raise UserError("erase", "a legal hold on a sitting of this student", "no hold on any",
                        "Whoever set the hold, or an administrator, lifts it first.")  # fmt: skip
    practised = person.attempts.order_by("-begun_at").values_list("begun_at", flat=True).first()
    sat = MarksSheet.objects.filter(sitting__students__account=person).order_by("-at")
    marked = sat.values_list("at", flat=True).first()
    last = max(filter(None, (person.last_login, marked, practised)), default=person.date_joined)
    _may_be_erased("student", person.holds, last, now)
    with gathered():
        done = _noted("student", str(person.pk), student_export(person), by)
        _delete_student(person)
    return done


def erase_sitting(sitting: KeptSitting, by: str, now: datetime | None = None) -> Erased:
    """Erase an examination of students with every table and version; UserError says why not."""
    held = Hold.objects.filter(lifted_at=None, person__sat__sitting=sitting)
    if held.exists():
        raise UserError("erase", "a legal hold on one of its students", "no hold on any of them",
                        "Whoever set the hold, or an administrator, lifts it first.")  # fmt: skip
    last = sitting.sheets.order_by("-at").values_list("at", flat=True).first()
    _may_be_erased("student", sitting.holds, last or sitting.created_at, now)
    with gathered():
        done = _noted("sitting", str(sitting.key), sitting_export(sitting), by)
        _delete_sitting(sitting)
    return done


def erase_sitting_student(row: SittingStudent, by: str, now: datetime | None = None) -> Erased:
    """Erase the marks of one student of a sitting, with or without an account; the others stay."""
    if row.account is not None and row.account.holds.filter(lifted_at=None).exists():
        raise UserError("erase", "a legal hold on this student", "no hold",
                        "Whoever set the hold, or an administrator, lifts it first.")  # fmt: skip
    last = row.sitting.sheets.order_by("-at").values_list("at", flat=True).first()
    _may_be_erased("student", row.sitting.holds, last or row.sitting.created_at, now)
    with gathered():
        done = _noted("sitting-student", str(row.pk), sitting_student_export(row), by)
        row.delete()
    return done


def erase_own_attempt(attempt: PracticeAttempt, by: str) -> Erased:
    """Erase one practice case of a student who asks for it; only a hold stands against it.

    Practice decides nothing, so that no time of keeping holds it: it is the student's.
    """
    if attempt.student.holds.filter(lifted_at=None).exists():
        raise UserError("erase", "a legal hold on your account", "no hold",
                        "Ask whoever keeps these records.")  # fmt: skip
    with gathered():
        done = _noted("attempt", str(attempt.key), attempt_export(attempt), by)
        _delete_attempts(PracticeAttempt.objects.filter(pk=attempt.pk))
    return done


def erase_learner_visit(visit: LearnerVisit, by: str) -> Erased:
    """Erase what a learner found at a patient and what was made of it; that it was stays noted.

    At once, since it was kept by consent alone. Only a hold stands against it.
    """
    held = Hold.objects.filter(lifted_at=None)
    if (
        held.filter(patient=visit.examination.patient).exists()
        or held.filter(person=visit.student).exists()
    ):
        raise UserError("erase", "a legal hold", "no hold on this record",
                        "Nobody sees it from here on; whoever keeps these records erases it when "
                        "the hold is lifted.")  # fmt: skip
    with gathered():
        done = _noted("learner-visit", str(visit.key), learner_visit_export(visit), by)
        with erasing("supervised"):
            empty(visit)
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
    transaction.on_commit(discard_copies)
    return done


def _delete_patient(patient: Patient) -> None:
    examinations = Examination.objects.filter(patient=patient)
    _delete_learner_visits(LearnerVisit.objects.filter(examination__in=examinations))
    with erasing("ledger"):
        HeldEntry.objects.filter(examination__in=examinations).delete()
        LedgerEntry.objects.filter(examination__in=examinations).delete()
        # The trace under the patient from whom a visit came stays, and names nobody any more.
        MovedVisit.objects.filter(patient=patient).delete()
        MovedVisit.objects.filter(visit__in=examinations).update(visit=None)
        MovedVisit.objects.filter(moved_to=patient).update(moved_to=None)
        examinations.delete()
        Hold.objects.filter(patient=patient).delete()
        patient.delete()


def _delete_learner_visits(visits: QuerySet[LearnerVisit]) -> None:
    with erasing("supervised"):
        LearnerFinding.objects.filter(visit__in=visits).delete()
        visits.delete()


def _delete_attempts(attempts: QuerySet[PracticeAttempt]) -> int:
    """Attempts with their steps; the cases stay, which say nothing of anybody."""
    with erasing("practice"):
        PracticeStep.objects.filter(attempt__in=attempts).delete()
        return attempts.delete()[0]


def _delete_sitting(sitting: KeptSitting) -> None:
    with erasing("marks"):
        Settlement.objects.filter(sitting=sitting).delete()
        SheetRows.objects.filter(sheet__sitting=sitting).delete()
        MarksSheet.objects.filter(sitting=sitting).delete()
        SittingStudent.objects.filter(sitting=sitting).delete()
        Hold.objects.filter(sitting=sitting).delete()
        sitting.delete()


def student_models() -> list[tuple[type[Any], str]]:
    """Every model of student data with its field that names the student.

    A model says so itself: `student_field = "student"`.
    """
    return [(m, m.student_field) for m in apps.get_models() if hasattr(m, "student_field")]


def _delete_student(person: User) -> None:
    Session.objects.filter(session_key__in=person.signed_in.values("session_key")).delete()
    _delete_attempts(PracticeAttempt.objects.filter(student=person))
    _delete_learner_visits(LearnerVisit.objects.filter(student=person))
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
            raise UserError(
                where,
                text,
                "patient, sitting, attempt or learner-visit KEY, student or sitting-student NUMBER",
                do,
            )
        yield kind, number


def _names_one(kind: str, number: str) -> bool:
    if kind in ("student", "sitting-student"):
        return number.isascii() and number.isdigit() and len(number) <= 18
    try:
        return kind in ("patient", "sitting", "attempt", "learner-visit") and bool(UUID(number))
    except ValueError:
        return False


def erase_again() -> int:
    """After a restore: erase what had been erased since the backup was made; how many."""
    again = 0
    for kind, number in noted_outside():
        with gathered():
            again += _erased_again(kind, number)
    return again


def _erased_again(kind: str, number: str) -> bool:
    """Whether somebody had come back and is gone again; the line is written before."""
    patient = Patient.objects.filter(key=number).first() if kind == "patient" else None
    students = User.objects.filter(role=Role.STUDENT)
    student = students.filter(pk=number).first() if kind == "student" else None
    sitting = KeptSitting.objects.filter(key=number).first() if kind == "sitting" else None
    of_sitting = SittingStudent.objects.filter(pk=number) if kind == "sitting-student" else None
    row = of_sitting.first() if of_sitting is not None else None
    attempts = PracticeAttempt.objects.filter(key=number) if kind == "attempt" else None
    practised = attempts is not None and attempts.exists()
    visit = _full_visit(number) if kind == "learner-visit" else None
    if not (patient or student or sitting or row or practised or visit):
        return False
    write(Act.ERASED, f"{kind}:{number}", who="system")
    if patient is not None:
        _delete_patient(patient)
    if student is not None:
        _delete_student(student)
    if sitting is not None:
        _delete_sitting(sitting)
    if row is not None:
        row.delete()
    if attempts is not None:
        _delete_attempts(attempts)
    if visit is not None:
        with erasing("supervised"):
            empty(visit)
    return True


def _full_visit(number: str) -> LearnerVisit | None:
    """The visit with this key, if what was found at it is there again."""
    return LearnerVisit.objects.filter(key=number, emptied_at=None).first()
