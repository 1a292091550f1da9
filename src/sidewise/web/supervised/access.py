"""Who may do what with a learner's visit: every decision is made here and nowhere else.

The learner sees the visit while it lasts and nothing else of the patient, before or after; what
came of it, which names no patient, once it is countersigned. Who may write into the examination
is their supervisor; who may only read it is told so (403); to anyone else it does not exist (404).
"""

from __future__ import annotations

from uuid import UUID

from django.db.models import QuerySet
from django.http import Http404

from sidewise.web.accounts.models import Role, User
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.supervised.models import LearnerVisit


def own_visits(user: User) -> QuerySet[LearnerVisit]:
    """The visits of a learner, with their examinations."""
    if not user.has_role(Role.STUDENT):
        return LearnerVisit.objects.none()
    rows = LearnerVisit.objects.filter(student=user)
    return rows.select_related("examination__patient", "supervisor")


def open_visit(user: User, key: UUID) -> LearnerVisit:
    """A learner's own visit while it lasts; 404 before, after, and for anyone else."""
    found = own_visits(user).filter(key=key).first()
    if found is None or not found.is_open():
        raise Http404
    return found


def told_visit(user: User, key: UUID) -> LearnerVisit:
    """A learner's own visit of which something is told: countersigned, and not withdrawn."""
    found = own_visits(user).filter(key=key).first()
    if found is None or found.feedback is None:
        raise Http404
    return found


def supervised_visit(user: User, key: UUID) -> LearnerVisit:
    """A visit for whoever may write into its examination; 404 for a stranger, 403 for a reader."""
    rows = LearnerVisit.objects.select_related("examination__patient", "student", "supervisor")
    found = rows.filter(key=key).first()
    if found is None:
        raise Http404
    allowed_examination(user, found.examination_id, write=True)
    return found
