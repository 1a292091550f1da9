"""What must be kept, what was erased, and what arrived but could not be added."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from sidewise.web.examinations.models import Examination
from sidewise.web.patients.models import Patient


class Hold(models.Model):
    """A legal hold: nothing of this patient or person is erased while it stands."""

    patient = models.ForeignKey(Patient, models.CASCADE, null=True, related_name="holds")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, null=True, related_name="holds"
    )
    reason = models.CharField(max_length=200)
    set_by = models.CharField(max_length=150)
    set_at = models.DateTimeField(auto_now_add=True)
    lifted_by = models.CharField(max_length=150, blank=True)
    lifted_at = models.DateTimeField(null=True)


class Erased(models.Model):
    """That something was erased, by its number only, with the digest of what was exported first."""

    kind = models.CharField(max_length=20)
    number = models.CharField(max_length=40)
    digest = models.CharField(max_length=64)
    by = models.CharField(max_length=150)
    at = models.DateTimeField(auto_now_add=True)


class HeldEntry(models.Model):
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
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["examination", "entry_id"], name="held_once")
        ]
