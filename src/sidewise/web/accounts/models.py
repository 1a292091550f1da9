"""People who sign in, and what they are here for."""

from __future__ import annotations

from django.contrib.auth.models import AbstractUser
from django.db import models


class Role(models.TextChoices):
    """What a person may do is written down in docs/access.md and tested view by view."""

    CLINICIAN = "clinician"
    TEACHER = "teacher"
    STUDENT = "student"
    ADMINISTRATOR = "administrator"


class User(AbstractUser):
    """A person who signs in; known in records by `code`."""

    role = models.CharField(max_length=20, choices=Role.choices, default=Role.STUDENT)
    code = models.CharField(max_length=40, blank=True)

    @property
    def signs_as(self) -> str:
        """The name that stands in records."""
        return self.code or self.username
