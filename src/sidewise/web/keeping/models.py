"""What must be kept, and what was erased."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from sidewise.web.audit.binding import Bound
from sidewise.web.marks.models import KeptSitting
from sidewise.web.patients.models import Patient


class Hold(Bound):
    """A legal hold: nothing of this patient, person or sitting is erased while it stands."""

    patient = models.ForeignKey(Patient, models.CASCADE, null=True, related_name="holds")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.CASCADE, null=True, related_name="holds"
    )
    sitting = models.ForeignKey(KeptSitting, models.CASCADE, null=True, related_name="holds")
    reason = models.CharField(max_length=200)
    set_by = models.CharField(max_length=150)
    set_at = models.DateTimeField(auto_now_add=True)
    lifted_by = models.CharField(max_length=150, blank=True)
    lifted_at = models.DateTimeField(null=True)


class Erased(Bound):
    """That something was erased, by its number only, with the digest of what was exported first."""

    kind = models.CharField(max_length=20)
    number = models.CharField(max_length=40)
    digest = models.CharField(max_length=64)
    by = models.CharField(max_length=150)
    at = models.DateTimeField(auto_now_add=True)
