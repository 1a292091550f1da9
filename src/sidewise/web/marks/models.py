"""Students' sittings: the tables of marks as they came, and how each was settled, by whom.

A table is kept as its cells, the rows of each student apart, so that one student's can be erased or
handed out without the others'. Nothing is overwritten: another table or another answer is added,
and what held before stays readable.
"""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from sidewise.web.audit.binding import Bound


class KeptSitting(Bound):
    """One examination of students, kept by the teacher who brought its marks."""

    # Stands in addresses, so that no title does.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    title = models.CharField(max_length=80)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="sittings")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.title


class SittingShare(Bound):
    """A colleague who may read, or read and settle, one sitting."""

    sitting = models.ForeignKey(KeptSitting, models.CASCADE, related_name="shares")
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="sitting_shares"
    )
    may_write = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sitting", "user"], name="one_sitting_share_a_person")
        ]


class SittingStudent(Bound):
    """A student of a sitting by the code of its table; `account` once a teacher has said whose."""

    student_field: ClassVar[str] = "account"
    shown_when_released: ClassVar[bool] = True

    sitting = models.ForeignKey(KeptSitting, models.PROTECT, related_name="students")
    code = models.TextField()
    account = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="sat"
    )

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sitting", "code"], name="one_code_a_sitting")
        ]


class MarksSheet(Bound):
    """One table as it came; its students' rows stand in `SheetRows`."""

    sitting = models.ForeignKey(KeptSitting, models.PROTECT, related_name="sheets")
    number = models.PositiveIntegerField()
    name = models.CharField(max_length=120)
    # Of the file as it was sent, which is not kept.
    sha256 = models.CharField(max_length=64)
    height = models.PositiveIntegerField()
    width = models.PositiveIntegerField()
    # Rows that name no student (titles, headings, totals), each with its number from 1.
    frame = models.JSONField()
    notes = models.JSONField(default=list)
    reason = models.CharField(max_length=300, blank=True)
    by = models.CharField(max_length=150)
    account = models.BigIntegerField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["sitting", "number"], name="sheets_count_up")
        ]


class SheetRows(Bound):
    """The rows of one student in one table: each with its number and its cells."""

    student_field: ClassVar[str] = "student__account"
    shown_when_released: ClassVar[bool] = True

    sheet = models.ForeignKey(MarksSheet, models.PROTECT, related_name="rows")
    student = models.ForeignKey(SittingStudent, models.CASCADE, related_name="rows")
    rows = models.JSONField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["sheet", "student"], name="rows_of_a_student_once")
        ]


class Settlement(Bound):
    """How a table is read and judged: the answers, who gave them, when and why. Only added to."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sitting = models.ForeignKey(KeptSitting, models.PROTECT, related_name="settlements")
    sheet = models.ForeignKey(MarksSheet, models.PROTECT, related_name="settlements")
    number = models.PositiveIntegerField()
    # By the option of `sidewise marks` that each is.
    answers = models.JSONField()
    reason = models.CharField(max_length=300)
    by = models.CharField(max_length=150)
    account = models.BigIntegerField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["sitting", "number"], name="settlements_count_up")
        ]
