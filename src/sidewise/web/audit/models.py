"""Who read or wrote what, when: append-only, each line sealed with the one before."""

from __future__ import annotations

from django.db import models


class AuditLine(models.Model):
    """One act on one object; never findings, only which record and what was done."""

    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    role = models.CharField(max_length=20)
    act = models.CharField(max_length=40)
    what = models.CharField(max_length=120)
    seal = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
