"""Examinations as ledgers: rows are added, never changed."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.conf import settings
from django.db import models

from sidewise.regions import regions
from sidewise.web.audit.binding import Bound
from sidewise.web.patients.models import Patient


class Examination(Bound):
    """One examination; what was found is the fold of its entries."""

    class State(models.TextChoices):
        """Kept beside the ledger for lists and searches; the ledger decides."""

        DRAFT = "draft"
        SIGNED = "signed"
        DISCARDED = "discarded"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    patient = models.ForeignKey(Patient, models.PROTECT, related_name="examinations")
    region = models.CharField(max_length=40)
    examined_at = models.DateTimeField()
    created_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT)
    state = models.CharField(max_length=12, choices=State.choices, default=State.DRAFT)

    class Meta:
        ordering = ["-examined_at"]

    @property
    def region_shown(self) -> str:
        """What was examined, where that can be more than one thing; else nothing."""
        return self.region.replace("_", " ") if len(regions()) > 1 else ""


class LedgerEntry(Bound):
    """One line of the ledger, exactly as it arrived."""

    examination = models.ForeignKey(Examination, models.PROTECT, related_name="entries")
    entry_id = models.CharField(max_length=80)
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    deed = models.JSONField()
    received_at = models.DateTimeField(auto_now_add=True)
    # The number of the account that sent it: a code can be given to another person, this cannot.
    account = models.BigIntegerField(null=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "entry_id"], name="an_entry_counts_once")
        ]


class MovedVisit(Bound):
    """That a visit stood under this patient and was moved to another: the trace that it leaves.

    `visit` and `moved_to` are emptied when the other patient is erased; the trace stays.
    """

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="moved_away")
    visit = models.ForeignKey(Examination, models.PROTECT, related_name="moves", null=True)
    moved_to = models.ForeignKey(Patient, models.PROTECT, related_name="moved_here", null=True)
    examined_at = models.DateTimeField()
    was_signed = models.BooleanField()
    by = models.CharField(max_length=80)
    at = models.DateTimeField()
    reason = models.CharField(max_length=500)

    class Meta:
        ordering = ["-at"]


class HeldEntry(Bound):
    """A queued entry that could not be added any more: kept until a person decides."""

    examination = models.ForeignKey(Examination, models.PROTECT, related_name="held")
    entry_id = models.CharField(max_length=80)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT)
    entry = models.JSONField()
    why = models.CharField(max_length=300)
    received_at = models.DateTimeField(auto_now_add=True)
    settled_by = models.CharField(max_length=150, blank=True)
    settled_at = models.DateTimeField(null=True)
    settled_how = models.CharField(max_length=12, blank=True)

    class Meta:
        # Made by the keeping app, where it stood first: moved without a row being touched.
        db_table = "keeping_heldentry"
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "entry_id"], name="held_once")
        ]


class Preferences(models.Model):
    """What one person usually does: chosen beforehand on new pages, shown there, always changeable.

    No part of any record, so nothing of it is bound by the audit.
    """

    student_field: ClassVar[str] = "user"
    user = models.OneToOneField(
        settings.AUTH_USER_MODEL, models.CASCADE, related_name="preferences"
    )
    setting = models.CharField(max_length=20, blank=True)
    instrument = models.CharField(max_length=20, blank=True)
    toured = models.BooleanField(default=False)
    language = models.CharField(max_length=10, blank=True)
