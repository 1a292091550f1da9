"""Who may see which attempt: the student whose it is, and the teachers of a class they are in."""

from __future__ import annotations

from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from sidewise.web.accounts.models import Role, User
from sidewise.web.classes.access import classes_of
from sidewise.web.classes.models import StudyClass
from sidewise.web.practice.models import PracticeAttempt, SimulatedCase


def own_attempt(user: User, key: UUID) -> PracticeAttempt:
    """A student's own attempt; 404 for anyone else's, also for a teacher."""
    rows = PracticeAttempt.objects.select_related("case", "assignment")
    found = rows.filter(key=key, student=user).first()
    if found is None or not user.has_role(Role.STUDENT):
        raise Http404
    return found


def seen_attempt(user: User, key: UUID) -> PracticeAttempt:
    """A finished attempt, for its student or a teacher of a class the student is in."""
    if user.has_role(Role.STUDENT):
        found: PracticeAttempt | None = own_attempt(user, key)
    else:
        taught = PracticeAttempt.objects.filter(
            student__memberships__study_class__in=classes_of(user)
        )
        found = taught.select_related("case", "assignment").filter(key=key).first()
    if found is None or found.finished_at is None:
        raise Http404
    return found


def attempts_in(study_class: StudyClass) -> QuerySet[PracticeAttempt]:
    """The finished attempts of a class's students at cases of its region, or set for it."""
    of_students = PracticeAttempt.objects.filter(
        student__memberships__study_class=study_class, finished_at__isnull=False
    )
    here = Q(case__region=study_class.region) | Q(assignment__study_class=study_class)
    # Of a thousand cases the feedback is read, and neither the cases nor the steps.
    light = (
        of_students.filter(here)
        .select_related("student", "case", "assignment")
        .defer("case__packed", "case__packed_truth", "head")
    )
    return light.distinct()


def cases_of(user: User) -> QuerySet[SimulatedCase]:
    """The cases that a teacher sent in."""
    if not user.has_role(Role.TEACHER):
        return SimulatedCase.objects.none()
    return SimulatedCase.objects.filter(owner=user).order_by("-at")
