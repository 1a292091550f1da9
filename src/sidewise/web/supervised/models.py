"""What a learner found at a real patient, in a store of its own: never a part of the record.

Nothing in the tables of patients and examinations refers to anything here. What stands here goes
when the patient is erased, and at once when the patient's consent is withdrawn.
"""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import ClassVar

from django.conf import settings
from django.db import models
from django.utils import timezone

from sidewise.web.audit.binding import Bound
from sidewise.web.examinations.models import Examination


class LearnerVisit(Bound):
    """That a learner examines at one examination, with the patient's consent, until a time."""

    class Consent(models.TextChoices):
        """How the patient agreed."""

        SPOKEN = "spoken", "said yes, after it was explained"
        WRITTEN = "written", "signed for it"
        SPEAKER = "speaker", "somebody who may speak for the patient agreed"

    student_field: ClassVar[str] = "student"
    # The patient's, and in no export that a student is given.
    of_the_patient: ClassVar[tuple[str, ...]] = ("examination_id", "complaint", "consent_how")

    # Stands in addresses.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    examination = models.ForeignKey(Examination, models.PROTECT, related_name="learner_visits")
    student = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="supervised_visits"
    )
    supervisor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="supervises"
    )
    region = models.CharField(max_length=40)
    complaint = models.JSONField()
    consent_how = models.CharField(max_length=12, choices=Consent.choices)
    consent_at = models.DateTimeField(auto_now_add=True)
    until = models.DateTimeField()
    handed_in_at = models.DateTimeField(null=True)
    ended_at = models.DateTimeField(null=True)
    withdrawn_at = models.DateTimeField(null=True)
    # When what was found and said here was erased; that the visit was stays.
    emptied_at = models.DateTimeField(null=True)
    countersigned_at = models.DateTimeField(null=True)
    countersigned_by = models.CharField(max_length=80, blank=True)
    remark = models.CharField(max_length=1000, blank=True)
    # How the two compare, as it was when it was countersigned; no word says who the patient is.
    feedback = models.JSONField(null=True)

    class Meta:
        ordering = ["-consent_at"]

    def is_open(self, now: datetime | None = None) -> bool:
        """Whether the learner may see the patient's code and record now."""
        closed = (self.handed_in_at, self.ended_at, self.withdrawn_at, self.emptied_at)
        return (
            not any(closed)
            and (now or timezone.now()) < self.until
            and self.examination.state != Examination.State.DISCARDED
        )

    @property
    def state(self) -> str:
        """How it stands, in a word or two."""
        if self.withdrawn_at:
            return "consent withdrawn"
        if self.emptied_at:
            return "erased by the student"
        if self.countersigned_at:
            return "countersigned"
        if self.handed_in_at:
            return "handed in"
        return "examining" if self.is_open() else "over"


class LearnerFinding(Bound):
    """One finding, or the taking back of one, in the order in which they were made. Only added to.

    It has no `student_field`: what was found is the patient's, and stands in the patient's export.
    """

    visit = models.ForeignKey(LearnerVisit, models.CASCADE, related_name="findings")
    number = models.PositiveIntegerField()
    # {"found": finding} or {"taken_back": number}
    deed = models.JSONField()
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(fields=["visit", "number"], name="learner_findings_count_up")
        ]
