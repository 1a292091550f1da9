"""Patients by code, and who may see which."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models

from sidewise.web.audit.binding import Bound


class Patient(Bound):
    """A person examined, known by a code that the user chooses; a name is never required."""

    # Stands in addresses, so that no code does.
    key = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    code = models.CharField(max_length=60)
    owner = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="patients")
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        # Of one owner: that a code is taken by somebody else's patient is nobody's business.
        constraints = [models.UniqueConstraint(fields=["owner", "code"], name="one_code_per_owner")]

    def __str__(self) -> str:
        return self.code


class Share(Bound):
    """A colleague who may read, or read and write, one patient's records."""

    patient = models.ForeignKey(Patient, models.CASCADE, related_name="shares")
    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="shares")
    may_write = models.BooleanField(default=False)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["patient", "user"], name="one_share_per_person")
        ]
