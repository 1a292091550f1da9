"""Who read or wrote what, when: append-only, each line sealed with the one before."""

from __future__ import annotations

from django.db import models


class AuditLine(models.Model):
    """One act on one object; never findings, only which record and what was done."""

    number = models.PositiveBigIntegerField(unique=True)
    at = models.DateTimeField()
    who = models.CharField(max_length=150)
    role = models.CharField(max_length=20, blank=True)
    act = models.CharField(max_length=40)
    what = models.CharField(max_length=120, blank=True, db_index=True)
    origin = models.CharField(max_length=64, blank=True)
    seal = models.CharField(max_length=64)

    class Meta:
        ordering = ["number"]
