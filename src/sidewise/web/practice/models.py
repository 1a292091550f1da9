"""Simulated cases and attempts at them, in a store of their own: nothing here is a patient.

No field refers to a patient or an examination, and none of those refers to anything here.
"""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from sidewise.web.audit.binding import Bound
from sidewise.web.classes.models import Assignment


class SimulatedCase(Bound):
    """A case and its truth, each the bytes of its file, packed; `owner` where it was sent in."""

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    # Of the case as a file: by it the truth and the attempts know the case.
    sha256 = models.CharField(max_length=64)
    region = models.CharField(max_length=40)
    knowledge_version = models.CharField(max_length=40)
    title = models.CharField(max_length=80, blank=True)
    owner = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="cases"
    )
    packed = models.BinaryField()
    packed_truth = models.BinaryField()
    at = models.DateTimeField(auto_now_add=True)


class PracticeAttempt(Bound):
    """One student's attempt at a case; what was done stands in `PracticeStep`."""

    student_field: ClassVar[str] = "student"

    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    student = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="attempts")
    case = models.ForeignKey(SimulatedCase, models.PROTECT, related_name="attempts")
    assignment = models.ForeignKey(Assignment, models.SET_NULL, null=True, related_name="attempts")
    # The attempt as a document without its steps.
    head = models.JSONField()
    # Where it was chosen for the student: for which skill and why; told at the end.
    chosen = models.JSONField(null=True)
    begun_at = models.DateTimeField(auto_now_add=True)
    finished_at = models.DateTimeField(null=True)
    # What came of it, once it is finished: the few figures of lists, and the whole feedback.
    outcome = models.JSONField(null=True)
    feedback = models.JSONField(null=True)

    class Meta:
        ordering = ["-begun_at"]


class PracticeStep(Bound):
    """One step of an attempt and what came of it. Only added to."""

    student_field: ClassVar[str] = "attempt__student"

    attempt = models.ForeignKey(PracticeAttempt, models.CASCADE, related_name="steps")
    number = models.PositiveIntegerField()
    taken = models.JSONField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["attempt", "number"], name="practice_steps_count_up")
        ]
