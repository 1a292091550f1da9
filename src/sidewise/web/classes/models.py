"""Classes: who is in one, which work was set, and who has done it.

Work is set here and done elsewhere: whoever gives the work (the practice room) says what it is in
`what`, and reports in `Work` that somebody began it and was done.
"""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from sidewise.web.audit.binding import Bound


class StudyClass(Bound):
    """A class, kept by the teacher who made it."""

    # Stands in addresses, so that no title does.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    title = models.CharField(max_length=80)
    region = models.CharField(max_length=40)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="classes")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.title


class ClassShare(Bound):
    """A colleague who may read, or read and set work for, one class."""

    study_class = models.ForeignKey(StudyClass, models.CASCADE, related_name="shares")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="class_shares")
    may_write = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["study_class", "user"], name="one_class_share_a_person")
        ]


class ClassMember(Bound):
    """A student of a class, in a group or in none."""

    student_field: ClassVar[str] = "student"

    study_class = models.ForeignKey(StudyClass, models.CASCADE, related_name="members")
    student = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="memberships"
    )
    group = models.CharField(max_length=40, blank=True)
    joined_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["study_class", "student"], name="in_a_class_once")
        ]


class JoinCode(Bound):
    """A code that lets one student join, once and not for long; only its digest is kept."""

    study_class = models.ForeignKey(StudyClass, models.CASCADE, related_name="codes")
    digest = models.CharField(max_length=64, unique=True)
    group = models.CharField(max_length=40, blank=True)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)


class Assignment(Bound):
    """Work that was set for a class or one of its groups, to be done by a day."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    study_class = models.ForeignKey(StudyClass, models.CASCADE, related_name="assignments")
    title = models.CharField(max_length=80)
    group = models.CharField(max_length=40, blank=True)
    due = models.DateField()
    # Who gives it, and what it is in their words.
    kind = models.CharField(max_length=20)
    what = models.JSONField()
    by = models.CharField(max_length=150)
    at = models.DateTimeField(auto_now_add=True)
    withdrawn_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["due", "pk"]


class Work(Bound):
    """That a student began what was set, and when it was done."""

    student_field: ClassVar[str] = "student"

    assignment = models.ForeignKey(Assignment, models.CASCADE, related_name="work")
    student = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="work")
    begun_at = models.DateTimeField(auto_now_add=True)
    done_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["assignment", "student"], name="work_done_once")
        ]
