"""Who may do what with a class: every decision is made here and nowhere else.

The teacher who made it and a colleague with a writing share may change it; a reading share may read
(403 on writing); for anyone else, also a student of it, the class as the teacher sees it does not
exist (404). A student sees the work that was set for them.
"""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Exists, F, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from sidewise.web.accounts.models import Role, User
from sidewise.web.classes.models import Assignment, ClassShare, StudyClass


@dataclass(frozen=True, slots=True)
class AllowedClass:
    """A class that this teacher may read, and what more."""

    study_class: StudyClass
    may_write: bool
    is_owner: bool


def classes_of(user: User) -> QuerySet[StudyClass]:
    """Every class that this teacher may read."""
    if not user.has_role(Role.TEACHER):
        return StudyClass.objects.none()
    shared = ClassShare.objects.filter(study_class=OuterRef("pk"), user=user)
    return StudyClass.objects.filter(Q(owner=user) | Exists(shared))


def allowed_class(user: User, key: UUID, *, write: bool = False) -> AllowedClass:
    """The class with this key; 404 for a stranger, 403 for a reader who wants to write."""
    share = ClassShare.objects.filter(study_class=OuterRef("pk"), user=user)
    rows = StudyClass.objects.select_related("owner")
    found = rows.annotate(right=Subquery(share.values("may_write")[:1])).filter(key=key).first()
    if found is None or not user.has_role(Role.TEACHER):
        raise Http404
    is_owner = found.owner_id == user.pk
    if not is_owner and found.right is None:
        raise Http404
    may_write = is_owner or bool(found.right)
    if write and not may_write:
        raise PermissionDenied
    return AllowedClass(found, may_write, is_owner)


def assignments_for(student: User) -> QuerySet[Assignment]:
    """What is set for this student in any class, and was not withdrawn."""
    if not student.has_role(Role.STUDENT):
        return Assignment.objects.none()
    of_mine = Assignment.objects.filter(
        withdrawn_at=None, study_class__members__student=student
    ).annotate(my_group=F("study_class__members__group"))
    return of_mine.filter(Q(group="") | Q(group=F("my_group"))).select_related("study_class")
