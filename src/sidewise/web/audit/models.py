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
    # The mark of each row that was changed, as it stood afterwards; null in lines of version 0.1.0.
    bound = models.JSONField(null=True)
    seal = models.CharField(max_length=64)
    mark = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ["number"]
