"""Settling a table, the rules in force, and another table in its place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.marks import reading, store
from sidewise.web.marks.access import AllowedSitting, allowed_sitting
from sidewise.web.marks.forms import ReplaceForm, RulesForm, SettleForm
from sidewise.web.marks.models import KeptSitting, MarksSheet, Settlement
from sidewise.web.marks.views.result_pages import FourParts, four_parts
from sidewise.web.marks.views.sittings import opened_sheet
from sidewise.web.pages import show

if TYPE_CHECKING:
    from sidewise.teaching.report.marks_apart import OpenedSheet
    from sidewise.teaching.sitting.understood import SheetUnderstood


@dataclass(frozen=True, slots=True)
class SettlePage:
    """What the page that settles a table is given."""

    sitting: KeptSitting
    """Whose marks."""
    sheet: MarksSheet
    """Which table."""
    understood: SheetUnderstood
    """What was understood of it."""
    form: SettleForm
    """What can be answered."""
    errors: tuple[FourParts, ...]
    """What is wrong with the answers that were given."""
    faults: tuple[FourParts, ...]
    """What would be wrong if the proposal were right."""
    may_write: bool
    """Whether this person may settle."""
    settled: bool
    """Whether this table was settled before."""


@dataclass(frozen=True, slots=True)
class RulesPage:
    """What the page of the rules is given."""

    sitting: KeptSitting
    """Whose marks."""
    version: Settlement
    """The version whose rules hold."""
    form: RulesForm
    """The rules."""
    errors: tuple[FourParts, ...]
    """What is wrong with what was typed."""


@dataclass(frozen=True, slots=True)
class ReplacePage:
    """What the page for another table is given."""

    sitting: KeptSitting
    """Whose marks."""
    sheet: MarksSheet
    """The table in force."""
    form: ReplaceForm
    """A file and a reason."""
    errors: tuple[FourParts, ...]
    """What is wrong with the file."""


@require_http_methods(["GET", "POST"])
def settle(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """What was understood of the table in force, and what only a person can say of it."""
    who = allowed_sitting(request.user, sitting, write=request.method == "POST")
    sheet = store.latest_sheet(who.sitting)
    last = store.latest_settlement(who.sitting)
    own = last is not None and last.sheet_id == sheet.pk
    answers = last.answers if last is not None and own else store.rules_of(last)
    opened = reading.read_again(sheet, answers)
    seen = last.number if last is not None else 0
    form = SettleForm(opened.understood, answers, seen, request.POST or None)
    errors: tuple[FourParts, ...] = ()
    if request.method == "POST" and form.is_valid():
        try:
            return _settled(request, who, sheet, form, answers)
        except UserError as error:
            errors = four_parts(error)
    faults = opened.understood.faults
    context = SettlePage(
        who.sitting, sheet, opened.understood, form, errors,
        tuple(FourParts(t.where, t.got, t.expected, t.do) for t in faults), who.may_write, own,
    )  # fmt: skip
    wrong = request.method == "POST"
    return show(request, "marks/settle.html", context, status=422 if wrong else 200)


def _settled(
    request: SignedInRequest, who: AllowedSitting, sheet: MarksSheet, form: SettleForm,
    before: store.Answers,
) -> HttpResponse:  # fmt: skip
    """The answers are kept if nothing is left open by them; UserError says what is."""
    answers = form.answers(before)
    opened = reading.read_again(sheet, answers)
    if not opened.understood.settled:
        raise_open(opened)
    reason = form.cleaned_data.get("reason") or "as understood and confirmed"
    store.settle_after(
        who.sitting, request.user, opened, sheet, answers, reason, form.cleaned_data["seen"]
    )
    return redirect("marks-sitting", sitting=who.sitting.key)


def raise_open(opened: OpenedSheet) -> None:
    """What is asked or wrong under these answers, as one error."""
    from sidewise.teaching.report.marks_apart import errors_of

    raise errors_of((*opened.understood.asked, *opened.understood.faults))


@require_http_methods(["GET", "POST"])
def rules(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """The rules in force and what is left out; a change needs a reason and is a new version."""
    who = allowed_sitting(request.user, sitting, write=True)
    last = store.latest_settlement(who.sitting)
    sheet = store.latest_sheet(who.sitting)
    if last is None or last.sheet_id != sheet.pk:
        return redirect("marks-settle", sitting=sitting)
    untouched = {n: v for n, v in last.answers.items() if n != "leave_out"}
    names = reading.read_again(sheet, untouched).understood.names
    form = RulesForm(names, last.answers, last.number, request.POST or None)
    errors: tuple[FourParts, ...] = ()
    if request.method == "POST" and form.is_valid():
        try:
            return _ruled(request, who, sheet, form, last.answers)
        except UserError as error:
            errors = four_parts(error)
    context = RulesPage(who.sitting, last, form, errors)
    wrong = request.method == "POST"
    return show(request, "marks/rules.html", context, status=422 if wrong else 200)


def _ruled(
    request: SignedInRequest, who: AllowedSitting, sheet: MarksSheet, form: RulesForm,
    before: store.Answers,
) -> HttpResponse:  # fmt: skip
    from sidewise.teaching.sitting.request import check_rules

    answers = form.answers(before)
    check_rules(answers)
    opened = reading.read_again(sheet, answers)
    if not opened.understood.settled:
        raise_open(opened)
    reason, seen = form.cleaned_data["reason"], form.cleaned_data["seen"]
    store.settle_after(who.sitting, request.user, opened, sheet, answers, reason, seen)
    return redirect("marks-sitting", sitting=who.sitting.key)


@require_http_methods(["GET", "POST"])
def replace(request: SignedInRequest, sitting: UUID) -> HttpResponse:
    """Another table in the place of the one in force, which stays readable."""
    who = allowed_sitting(request.user, sitting, write=True)
    form = ReplaceForm(request.POST or None, request.FILES or None)
    errors: tuple[FourParts, ...] = ()
    if request.method == "POST":
        try:
            if opened := opened_sheet(request, form):
                form.sent.seek(0)
                sha = reading.digest_of(form.sent.read())
                reason = form.cleaned_data["reason"]
                store.add_sheet(who.sitting, request.user, opened, sha, reason)
                return redirect("marks-sitting", sitting=sitting)
        except UserError as error:
            errors = four_parts(error)
    context = ReplacePage(who.sitting, store.latest_sheet(who.sitting), form, errors)
    wrong = request.method == "POST"
    return show(request, "marks/replace.html", context, status=422 if wrong else 200)
