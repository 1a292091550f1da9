"""People who sign in, what they are here for, and what their sign-in rests on."""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractUser, UserManager
from django.db import models

from sidewise.web.audit.binding import Bound, BoundRows


class Role(models.TextChoices):
    """What a person may do is written down in docs/access.md and tested view by view."""

    CLINICIAN = "clinician"
    TEACHER = "teacher"
    STUDENT = "student"
    ADMINISTRATOR = "administrator"


class People(UserManager.from_queryset(BoundRows)):  # type: ignore[misc]  # made at run time
    """Accounts, each bound by the audit."""

    use_in_migrations = False


class User(AbstractUser, Bound):
    """A person who signs in; known in records by `code`.

    `also` holds further roles: on one laptop the clinician teaches and administers as well. A
    student never has any.
    """

    role = models.CharField(max_length=20, choices=Role.choices, default=Role.STUDENT)
    code = models.CharField(max_length=40, blank=True)
    also = models.JSONField(default=list, blank=True)

    objects: ClassVar[People] = People()

    @property
    def signs_as(self) -> str:
        """The name that stands in records."""
        return self.code or self.username

    def has_role(self, role: str) -> bool:
        """Whether this person acts in that role."""
        if self.role == Role.STUDENT:
            return role == Role.STUDENT
        return self.role == role or role in self.also

    @property
    def examines(self) -> bool:
        """Whether patients are this person's work."""
        return self.has_role(Role.CLINICIAN)

    @property
    def administers(self) -> bool:
        """Whether accounts, audit and safekeeping are this person's work."""
        return self.has_role(Role.ADMINISTRATOR)


class SignedIn(models.Model):
    """One live session, so that it can be listed and ended; the session store decides."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="signed_in")
    session_key = models.CharField(max_length=40, unique=True)
    started_at = models.DateTimeField()
    device = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ["-started_at"]


class KnownDevice(Bound):
    """A browser that has signed in to this account before: it has a budget of its own."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="devices")
    digest = models.CharField(max_length=64)
    since = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["user", "digest"], name="a_device_is_known_once")
        ]


class Failure(models.Model):
    """One failed sign-in, counted in one bucket; buckets are hashes and name nobody."""

    bucket = models.CharField(max_length=64)
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["bucket", "at"], name="failures_of_a_bucket")]


class Factor(Bound):
    """The second factor: a time-based one-time code. The secret is kept sealed."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="factor")
    sealed = models.BinaryField()
    confirmed_at = models.DateTimeField(null=True)
    last_step = models.BigIntegerField(default=0)


class RecoveryCode(Bound):
    """Stands in for the second factor once, when the telephone is lost."""

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="recovery")
    digest = models.CharField(max_length=64)
    used_at = models.DateTimeField(null=True)


class OneTimeLink(Bound):
    """A link that works once and not for long: to choose a password, or to enter the demo."""

    class Purpose(models.TextChoices):
        """What following the link allows."""

        PASSWORD = "password"
        ENTER = "enter"

    user = models.ForeignKey(settings.AUTH_USER_MODEL, models.CASCADE, related_name="links")
    digest = models.CharField(max_length=64, unique=True)
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    expires_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True)


class QueueKey(Bound):
    """The key of this person's queues in browsers; given after sign-in, kept sealed here."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="queue_key")
    sealed = models.BinaryField()


class Identity(Bound):
    """An account at an identity provider (OpenID Connect) that an administrator has tied here."""

    user = models.OneToOneField(settings.AUTH_USER_MODEL, models.CASCADE, related_name="identity")
    issuer = models.CharField(max_length=200)
    subject = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["issuer", "subject"], name="one_account_an_identity")
        ]
