"""Who may do what with a patient's records: every decision is made here and nowhere else.

What belongs to a patient (an examination) is asked for with its patient's right.

The owner and a colleague with a writing share may write; a reading share may read (403 on
writing); for anyone else the patient does not exist (404), so that nothing is learnt by asking.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from sidewise.web.accounts.rules import sees_patients
from sidewise.web.patients.models import Patient, Share


@dataclass(frozen=True, slots=True)
class Allowed:
    """A patient whom this person may read, and whether they may also write."""

    patient: Patient
    may_write: bool


def patients_of(user: Any) -> QuerySet[Patient]:
    """Every patient this person may read."""
    if not sees_patients(user):
        return Patient.objects.none()
    shared = Share.objects.filter(patient=OuterRef("pk"), user=user)
    return Patient.objects.filter(Q(owner=user) | Exists(shared))


def allowed(user: Any, key: UUID, *, write: bool = False) -> Allowed:
    """The patient with this key; 404 for a stranger, 403 for a reader who wants to write."""
    found = with_right(Patient.objects.filter(key=key), user, "pk").first()
    if found is None:
        raise Http404
    return checked(found, found.right, user, write)


def with_right(rows: QuerySet[Any], user: Any, patient: str) -> QuerySet[Any]:
    """The rows, each with `right`: whether the share of its patient lets `user` write, or None.

    `patient` is the field that names the patient. One query, whatever is found.
    """
    share = Share.objects.filter(patient=OuterRef(patient), user=user).values("may_write")[:1]
    with_it: QuerySet[Any] = rows.annotate(right=Subquery(share))
    return with_it


def checked(patient: Patient, right: bool | None, user: Any, write: bool) -> Allowed:
    """What `user` may do with this right; 404 for a stranger, 403 for a reader who would write."""
    is_owner = patient.owner_id == user.pk
    if not sees_patients(user) or (not is_owner and right is None):
        raise Http404
    may_write = is_owner or bool(right)
    if write and not may_write:
        raise PermissionDenied
    return Allowed(patient, may_write)
