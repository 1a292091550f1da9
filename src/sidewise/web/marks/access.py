"""Who may do what with a sitting's marks: every decision is made here and nowhere else.

The teacher who brought them and a colleague with a writing share may settle; a reading share may
read (403 on writing); for anyone else the sitting does not exist (404). A student, a clinician and
an administrator as such see none.
"""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery
from django.http import Http404

from sidewise.web.accounts.models import Role, User
from sidewise.web.marks.models import KeptSitting, SittingShare


@dataclass(frozen=True, slots=True)
class AllowedSitting:
    """A sitting that this person may read, and what more."""

    sitting: KeptSitting
    may_write: bool
    is_owner: bool


def sittings_of(user: User) -> QuerySet[KeptSitting]:
    """Every sitting that this person may read."""
    if not user.has_role(Role.TEACHER):
        return KeptSitting.objects.none()
    shared = SittingShare.objects.filter(sitting=OuterRef("pk"), user=user)
    return KeptSitting.objects.filter(Q(owner=user) | Exists(shared))


def allowed_sitting(user: User, key: UUID, *, write: bool = False) -> AllowedSitting:
    """The sitting with this key; 404 for a stranger, 403 for a reader who wants to write."""
    share = SittingShare.objects.filter(sitting=OuterRef("pk"), user=user).values("may_write")[:1]
    rows = KeptSitting.objects.select_related("owner").annotate(right=Subquery(share))
    found = rows.filter(key=key).first()
    if found is None or not user.has_role(Role.TEACHER):
        raise Http404
    is_owner = found.owner_id == user.pk
    if not is_owner and found.right is None:
        raise Http404
    may_write = is_owner or bool(found.right)
    if write and not may_write:
        raise PermissionDenied
    return AllowedSitting(found, may_write, is_owner)
