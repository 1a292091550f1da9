"""Who may open an examination: whoever may open its patient."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.http import Http404

from sidewise.web.examinations.models import Examination
from sidewise.web.patients.access import checked, with_right


def allowed_examination(user: Any, pk: UUID, *, write: bool = False) -> tuple[Examination, bool]:
    """The examination and whether this person may write; the same rules as for its patient."""
    rows = Examination.objects.select_related("patient").filter(pk=pk)
    found = with_right(rows, user, "patient_id").first()
    if found is None:
        raise Http404
    return found, checked(found.patient, found.right, user, write).may_write
