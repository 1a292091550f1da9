"""Patients by code, and who may see which."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models


class Patient(models.Model):
    """A person examined, known by a code that the user chooses; a name is never required."""

    # Stands in addresses, so that no code does.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    code = models.CharField(max_length=60, unique=True)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="patients")
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return self.code


class Share(models.Model):
    """A colleague who may read, or read and write, one patient's records."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="shares")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="shares")
    may_write = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["patient", "user"], name="one_share_per_person")
        ]
