"""With which colleagues a sitting is shared, and which account each student is."""

from __future__ import annotations

from dataclasses import dataclass
from uuid import UUID

from django.core.exceptions import PermissionDenied
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods, require_POST

from sidewise.web.accounts.models import Role, User
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.binding import gathered
from sidewise.web.audit.log import Act, write
from sidewise.web.marks import store
from sidewise.web.marks.access import allowed_sitting
from sidewise.web.marks.forms import ShareForm
from sidewise.web.marks.models import KeptSitting, SittingShare, SittingStudent
from sidewise.web.pages import show

NOBODY = "Nobody else who teaches here has this name."


@dataclass(frozen=True, slots=True)
class RefusedSharePage:
    """What the page of a share that was not made is given."""

    sitting: KeptSitting
    """Which sitting."""
    form: ShareForm
    """What was typed."""


@dataclass(frozen=True, slots=True)
class StudentAccountsPage:
    """What the page of the students' accounts is given."""

    sitting: KeptSitting
    """Which sitting."""
    tied: tuple[SittingStudent, ...]
    """Students whose account was said."""
    proposed: tuple[str, ...]
    """Codes that are, letter for letter, the code of a student's account here."""
    others: int
    """How many codes are no account's."""
    may_write: bool
    """Whether this person may say it."""


@require_POST
def share(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """Share with a colleague, or stop; only whoever brought the marks."""
    who = allowed_sitting(request.user, sitting)
    if not who.is_owner:
        raise PermissionDenied
    if "stop" in request.POST:
        number = request.POST["stop"]
        rows = SittingShare.objects.filter(sitting=who.sitting)
        with gathered():
            rows.filter(pk=int(number) if number.isdecimal() else 0).delete()
            write(Act.WRITE, f"marks-share:{who.sitting.key}")
        return redirect("marks-sitting", sitting=sitting)
    form = ShareForm(request.POST)
    colleague = _colleague(form, request.user) if form.is_valid() else None
    if colleague is None:
        if not form.errors:
            form.add_error("name", NOBODY)
        return show(request, "marks/share.html", RefusedSharePage(who.sitting, form), status=422)
    with gathered():
        SittingShare.objects.update_or_create(
            sitting=who.sitting, user=colleague,
            defaults={"may_write": form.cleaned_data["may_write"]},
        )  # fmt: skip
        write(Act.WRITE, f"marks-share:{who.sitting.key}/{colleague.pk}")
    return redirect("marks-sitting", sitting=sitting)


def _colleague(form: ShareForm, owner: User) -> User | None:
    found: User | None = User.objects.filter(
        username=form.cleaned_data["name"], is_active=True
    ).first()
    if found is None or found == owner or not found.has_role(Role.TEACHER):
        return None
    return found


@require_http_methods(["GET", "POST"])
def accounts(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """Which account each student is: proposed by the code, and said by a teacher."""
    who = allowed_sitting(request.user, sitting, write=request.method == "POST")
    if request.method == "POST":
        if "untie" in request.POST:
            store.untie_accounts(who.sitting)
        else:
            store.tie_accounts(who.sitting)
        return redirect("marks-accounts", sitting=sitting)
    students = who.sitting.students.select_related("account").order_by("code")
    tied = tuple(row for row in students if row.account is not None)
    proposed = tuple(sorted(store.accounts_named(who.sitting)))
    others = len(students) - len(tied) - len(proposed)
    context = StudentAccountsPage(who.sitting, tied, proposed, others, who.may_write)
    return show(request, "marks/accounts.html", context)
