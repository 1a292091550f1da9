"""The list of sittings with a place to drop a sheet, one sitting as it stands, and its log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db.models import Count, Max, QuerySet
from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_GET, require_http_methods

from sidewise.errors import UserError
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.marks import reading, store
from sidewise.web.marks.access import AllowedSitting, allowed_sitting, sittings_of
from sidewise.web.marks.forms import NewSittingForm, ShareForm, SheetForm
from sidewise.web.marks.models import KeptSitting, MarksSheet, Settlement, SittingShare
from sidewise.web.marks.views.result_pages import FourParts, four_parts, results_of, version_of
from sidewise.web.pages import show
from sidewise.web.uploads import most_bytes, was_too_large

if TYPE_CHECKING:
    from sidewise.teaching.report.marks_apart import OpenedSheet
    from sidewise.teaching.report.printout import PrintedSitting

SHOWN = 60


@dataclass(frozen=True, slots=True)
class MarksPage:
    """What the teacher's list of sittings is given."""

    form: NewSittingForm
    """A title and a sheet."""
    errors: tuple[FourParts, ...]
    """What is wrong with the sheet that was dropped."""
    sittings: QuerySet[KeptSitting]
    """Those this person may read, the latest first."""
    more: bool
    """Whether there are more than are shown."""


@dataclass(frozen=True, slots=True)
class SittingPage:
    """What the page of one version of a sitting is given."""

    sitting: KeptSitting
    """Which sitting."""
    version: Settlement
    """Under which answers."""
    latest: int
    """The number of the version that holds now."""
    printed: PrintedSitting
    """Its results."""
    answers: tuple[tuple[str, str], ...]
    """What was answered, by option."""
    erased: int
    """How many rows of the table were erased since it came."""
    may_write: bool
    """Whether this person may settle."""
    sharing: SharingPart | None
    """With whom it is shared; None for whoever does not own it."""
    tied: int
    """How many students have an account here."""


@dataclass(frozen=True, slots=True)
class SharingPart:
    """What the part about colleagues is given."""

    form: ShareForm
    """A colleague to share with."""
    shares: tuple[SittingShare, ...]
    """Who may read or settle already."""


@dataclass(frozen=True, slots=True)
class SittingLogPage:
    """What the log of a sitting is given."""

    sitting: KeptSitting
    """Which sitting."""
    versions: tuple[tuple[Settlement, tuple[tuple[str, str], ...]], ...]
    """Every version with its answers, the latest first."""
    sheets: tuple[MarksSheet, ...]
    """Every table, the latest first."""
    may_write: bool
    """Whether this person may settle."""


@require_http_methods(["GET", "POST"])
def marks(request: SignedInRequest) -> HttpResponse:
    """Every sitting of this teacher; a sheet that is dropped here begins another."""
    form = NewSittingForm(request.POST or None, request.FILES or None)
    errors: tuple[FourParts, ...] = ()
    if request.method == "POST":
        try:
            if opened := opened_sheet(request, form):
                data = form.sent
                data.seek(0)
                sha = reading.digest_of(data.read())
                made = store.begin_sitting(request.user, form.cleaned_data["title"], opened, sha)
                return redirect("marks-sitting", sitting=made.key)
        except UserError as error:
            errors = four_parts(error)
    rows = sittings_of(request.user).select_related("owner")
    rows = rows.annotate(
        versions=Count("settlements", distinct=True), last=Max("sheets__at")
    ).order_by("-last")
    context = MarksPage(form, errors, rows[:SHOWN], rows.count() > SHOWN)
    wrong = request.method == "POST"
    return show(request, "marks/list.html", context, status=422 if wrong else 200)


def opened_sheet(request: SignedInRequest, form: SheetForm) -> OpenedSheet | None:
    """The sheet that was sent; None where the form is not whole.

    UserError for a sheet that cannot be used: nothing of it is kept.
    """
    if was_too_large(request):
        raise UserError(
            "the file", "more than the service takes", f"at most {most_bytes():,} bytes",
            "Nothing was kept. Send one examination at a time, or use the command "
            "`sidewise marks`.",
        )  # fmt: skip
    if not form.is_valid():
        return None
    name = reading.sent_name(form.sent.name or "")
    opened = reading.open_sent(name, form.sent.read())
    if opened.understood.faults and not opened.understood.asked:
        raise_faults(opened)
    return opened


def raise_faults(opened: OpenedSheet) -> None:
    """Every fault of a sheet as one error."""
    from sidewise.teaching.report.marks_apart import errors_of

    raise errors_of(opened.understood.faults)


@require_GET
def sitting(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """The sitting as it stands: its newest version, or its table that waits to be settled."""
    who = allowed_sitting(request.user, sitting)
    last = store.latest_settlement(who.sitting)
    if last is None or last.sheet_id != store.latest_sheet(who.sitting).pk:
        return redirect("marks-settle", sitting=sitting)
    return _version(request, who, version_of(who.sitting, last.number), last.number)


@require_GET
def version(request: SignedInRequest, sitting: UUID, number: int) -> HttpResponse:
    """The sitting as it stood in one version."""
    who = allowed_sitting(request.user, sitting)
    last = store.latest_settlement(who.sitting)
    return _version(request, who, version_of(who.sitting, number), last.number if last else number)


def _version(
    request: SignedInRequest, who: AllowedSitting, found: Settlement, latest: int
) -> HttpResponse:
    def shower(_: AllowedSitting, version: Settlement, printed: Any) -> HttpResponse:
        context = SittingPage(
            sitting=who.sitting, version=version, latest=latest, printed=printed,
            answers=said_answers(version.answers), erased=store.erased_rows(version.sheet),
            may_write=who.may_write, sharing=_sharing(who),
            tied=who.sitting.students.exclude(account=None).count(),
        )  # fmt: skip
        return show(request, "marks/sitting.html", context)

    return results_of(request, who, found, shower)


def _sharing(who: AllowedSitting) -> SharingPart | None:
    if not who.is_owner:
        return None
    shares = who.sitting.shares.select_related("user").order_by("user__username")
    return SharingPart(ShareForm(), tuple(shares))


def said_answers(answers: store.Answers) -> tuple[tuple[str, str], ...]:
    """Answers as the command would be given them, each with its option."""
    return tuple(
        (f"--{name.replace('_', '-')}", ", ".join(value) if isinstance(value, list) else str(value))
        for name, value in sorted(answers.items())
    )


@require_GET
def log(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """Who sent and settled what, when and why."""
    who = allowed_sitting(request.user, sitting)
    versions = Settlement.objects.filter(sitting=who.sitting).select_related("sheet")
    context = SittingLogPage(
        who.sitting,
        tuple((one, said_answers(one.answers)) for one in versions.order_by("-number")),
        tuple(who.sitting.sheets.order_by("-number")),
        who.may_write,
    )
    return show(request, "marks/log.html", context)
