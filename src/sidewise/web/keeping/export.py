"""One patient's or one student's record, whole, as one JSON document."""

from __future__ import annotations

import json
from typing import Any

from django.apps import apps

from sidewise.web.accounts.models import User
from sidewise.web.audit.models import AuditLine
from sidewise.web.audit.rows import line
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import folded
from sidewise.web.marks.models import KeptSitting, SittingStudent
from sidewise.web.patients.models import Patient
from sidewise.web.practice.models import PracticeAttempt
from sidewise.web.supervised.models import LearnerVisit

PATIENT_FORMAT = "sidewise-patient-export/1"
STUDENT_FORMAT = "sidewise-student-export/1"
ATTEMPT_FORMAT = "sidewise-attempt-export/1"
LEARNER_FORMAT = "sidewise-learner-visit-export/1"
SITTING_FORMAT = "sidewise-sitting-export/1"
NOT_RELEASED = (
    "Marks of an examination are shown to a student only when the teachers release them. Whether "
    "there are any is not said here; ask the teachers, or whoever keeps these records."
)


def patient_export(patient: Patient) -> dict[str, Any]:
    """Every examination with its ledger and what it amounts to, shares, and who looked."""
    examinations = list(patient.examinations.order_by("examined_at", "pk"))
    visits = list(
        LearnerVisit.objects.filter(examination__patient=patient)
        .select_related("student", "supervisor")
        .order_by("pk")
    )
    return {
        "format": PATIENT_FORMAT,
        "patient": {"code": patient.code, "created_at": patient.created_at.isoformat()},
        "owner": patient.owner.signs_as,
        "shared_with": [
            {"who": share.user.signs_as, "may_write": share.may_write}
            for share in patient.shares.select_related("user")
        ],
        "examinations": [_examination(examination) for examination in examinations],
        "moved_away": [
            {
                "examined_at": row.examined_at.isoformat(),
                "was_signed": row.was_signed,
                "by": row.by,
                "at": row.at.isoformat(),
                "reason": row.reason,
            }
            for row in patient.moved_away.all()
        ],
        "examined_by_students": [_learner_visit(visit) for visit in visits],
        "looked_at": _lines(
            [
                str(patient.key),
                *(str(e.pk) for e in examinations),
                *(str(visit.key) for visit in visits),
            ]
        ),
    }


def _examination(examination: Examination) -> dict[str, Any]:
    return {
        "record": folded(examination).record.model_dump(mode="json", by_alias=True),
        "state": examination.state,
        "entries": [
            {"id": e.entry_id, "at": e.at.isoformat(), "by": e.by, "deed": e.deed,
             "received_at": e.received_at.isoformat()}
            for e in examination.entries.all()
        ],
        "held": [
            {"entry": h.entry, "why": h.why, "settled": h.settled_how}
            for h in examination.held.all()
        ],
    }  # fmt: skip


def student_export(person: User, *, own: bool = False) -> dict[str, Any]:
    """The account without its secrets, and every row of practice and marks.

    `own`: for the student, who is not shown what no teacher has released yet; that there may be
    such is said.
    """
    kept = [m for m in apps.get_models() if hasattr(m, "student_field")]
    held_back = [m for m in kept if own and getattr(m, "shown_when_released", False)]
    kept = [m for m in kept if m not in held_back]
    return {
        "format": STUDENT_FORMAT,
        "account": {
            "username": person.username,
            "code": person.code,
            "role": person.role,
            "since": person.date_joined.isoformat(),
        },
        "tables": {m._meta.label_lower: _rows(m, person) for m in kept},
        **({"not_released": NOT_RELEASED} if held_back else {}),
        "did": [_line(row) for row in AuditLine.objects.filter(who=person.username)],
        "looked_at": _lines([str(person.pk)], kind="account"),
    }


def _learner_visit(visit: LearnerVisit) -> dict[str, Any]:
    """What a learner found at a patient, and the consent to it; for the patient."""
    times = ("consent_at", "until", "handed_in_at", "withdrawn_at", "emptied_at")
    return {
        "examination": str(visit.examination_id),
        "student": visit.student.signs_as,
        "supervisor": visit.supervisor.signs_as,
        "consent": visit.get_consent_how_display(),
        **{name: value.isoformat() if (value := getattr(visit, name)) else None for name in times},
        "found": [row.deed for row in visit.findings.all()],
        "compared": visit.feedback,
    }


def learner_visit_export(visit: LearnerVisit) -> dict[str, Any]:
    """One visit of a learner, whole, before it is emptied."""
    return {"format": LEARNER_FORMAT, "visit": _learner_visit(visit)}


def sitting_export(sitting: KeptSitting) -> dict[str, Any]:
    """A sitting whole: its tables with every row, each version, shares, and who looked."""
    tables = [
        {**_columns(sheet), "rows": [_columns(row) for row in sheet.rows.order_by("pk")]}
        for sheet in sitting.sheets.all()
    ]
    return {
        "format": SITTING_FORMAT,
        "sitting": _columns(sitting),
        "students": [_columns(row) for row in sitting.students.order_by("pk")],
        "tables": tables,
        "versions": [_columns(row) for row in sitting.settlements.all()],
        "shared_with": [
            {"who": share.user.signs_as, "may_write": share.may_write}
            for share in sitting.shares.select_related("user")
        ],
        "looked_at": _lines([str(sitting.key)]),
    }


def sitting_student_export(row: SittingStudent) -> dict[str, Any]:
    """What is kept of one student in one sitting."""
    return {"format": SITTING_FORMAT, "student": _columns(row),
            "rows": [_columns(kept) for kept in row.rows.order_by("pk")]}  # fmt: skip


def attempt_export(attempt: PracticeAttempt) -> dict[str, Any]:
    """One practice case of a student: the attempt with its steps."""
    return {"format": ATTEMPT_FORMAT, "attempt": _columns(attempt),
            "steps": [_columns(step) for step in attempt.steps.all()]}  # fmt: skip


def _columns(row: Any) -> dict[str, Any]:
    fields = row._meta.concrete_fields
    found: dict[str, Any] = json.loads(line({f.attname: f.value_from_object(row) for f in fields}))
    return found


def _rows(model: Any, person: User) -> list[dict[str, Any]]:
    rows = model._default_manager.filter(**{model.student_field: person}).order_by("pk")
    # What is a patient's is in the patient's export, and in no student's.
    not_theirs = getattr(model, "of_the_patient", ())
    return [{k: v for k, v in _columns(row).items() if k not in not_theirs} for row in rows]


def _lines(numbers: list[str], kind: str = "") -> list[dict[str, str]]:
    found: list[dict[str, str]] = []
    for number in numbers:
        wanted = f"{kind}:{number}"
        query = {"what": wanted} if kind else {"what__contains": wanted}
        found += [_line(row) for row in AuditLine.objects.filter(**query)]
    return found


def _line(row: AuditLine) -> dict[str, str]:
    return {"at": row.at.isoformat(), "who": row.who, "role": row.role, "act": row.act,
            "what": row.what}  # fmt: skip
