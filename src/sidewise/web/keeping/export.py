"""One patient's or one student's record, whole, as one JSON document."""

from __future__ import annotations

import json
from typing import Any

from django.apps import apps

from sidewise.web.accounts.models import User
from sidewise.web.audit.models import AuditLine
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.store import folded
from sidewise.web.keeping.tables import line
from sidewise.web.patients.models import Patient

PATIENT_FORMAT = "sidewise-patient-export/1"
STUDENT_FORMAT = "sidewise-student-export/1"


def patient_export(patient: Patient) -> dict[str, Any]:
    """Every examination with its ledger and what it amounts to, shares, and who looked."""
    examinations = list(patient.examinations.order_by("examined_at", "pk"))
    return {
        "format": PATIENT_FORMAT,
        "patient": {"code": patient.code, "created_at": patient.created_at.isoformat()},
        "owner": patient.owner.signs_as,
        "shared_with": [
            {"who": share.user.signs_as, "may_write": share.may_write}
            for share in patient.shares.select_related("user")
        ],
        "examinations": [_examination(examination) for examination in examinations],
        "looked_at": _lines([str(patient.key), *(str(e.pk) for e in examinations)]),
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


def student_export(person: User) -> dict[str, Any]:
    """The account without its secrets, and every row of practice and marks."""
    kept = [m for m in apps.get_models() if hasattr(m, "student_field")]
    return {
        "format": STUDENT_FORMAT,
        "account": {
            "username": person.username,
            "code": person.code,
            "role": person.role,
            "since": person.date_joined.isoformat(),
        },
        "tables": {m._meta.label_lower: _rows(m, person) for m in kept},
        "did": [_line(row) for row in AuditLine.objects.filter(who=person.username)],
        "looked_at": _lines([str(person.pk)], kind="account"),
    }


def _rows(model: Any, person: User) -> list[dict[str, Any]]:
    rows = model._default_manager.filter(**{model.student_field: person}).order_by("pk")
    fields = model._meta.concrete_fields
    return [json.loads(line({f.attname: f.value_from_object(row) for f in fields})) for row in rows]


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
