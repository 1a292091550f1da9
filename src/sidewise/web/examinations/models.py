"""Examinations as ledgers: rows are added, never changed."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from sidewise.web.patients.models import Patient


class Examination(models.Model):
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


class LedgerEntry(models.Model):
    """One line of the ledger, exactly as it arrived."""

    examination = models.ForeignKey(Examination, models.PROTECT, related_name="entries")
    entry_id = models.CharField(max_length=80)
    at = models.DateTimeField()
    by = models.CharField(max_length=80)
    deed = models.JSONField()
    received_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "entry_id"], name="an_entry_counts_once")
        ]
