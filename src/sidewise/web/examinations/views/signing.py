"""Signing, amending with a reason, discarding with a reason, and the clinician's own words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid4

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from sidewise.errors import UserError
from sidewise.note.completeness import Missing, by_reason, essential, open_labels
from sidewise.note.meaning import called_for_flags
from sidewise.protocol import Item, Stage
from sidewise.reason.result import RedFlag
from sidewise.record.ledger import (
    Amended,
    Concluded,
    Deed,
    Discarded,
    Entry,
    Signed,
    ledger_digest,
)
from sidewise.record.model import Conclusion
from sidewise.web.accounts.models import User
from sidewise.web.accounts.permissions import SignedInRequest, stepped_up
from sidewise.web.examinations.access import allowed_examination
from sidewise.web.examinations.bedside import BedsidePage, bedside_page
from sidewise.web.examinations.essentials import said_of_signature
from sidewise.web.examinations.follow_up import AskedFlag, asked_flags, follow_up_of
from sidewise.web.examinations.models import Examination
from sidewise.web.examinations.signing_state import (
    NewEntry,
    end_of,
    in_words,
    newer_than,
    refuse_unseen,
)
from sidewise.web.examinations.state import Current, add, current
from sidewise.web.pages import show, values

DONE = {
    "amend": _("Reopened for amendment; the signed revision is kept."),
    "discard": _("The draft was discarded; its ledger is kept."),
}


class ReasonForm(forms.Form):
    """Why a signed record is opened again, or a draft given up."""

    reason = forms.CharField(
        min_length=3, max_length=500, label=_("Reason"), widget=forms.TextInput(attrs={"size": 40}),
        error_messages=dict.fromkeys(
            ("required", "min_length"), _("Give the reason in a few words.")
        ),
    )  # fmt: skip


class ConclusionForm(forms.Form):
    """The clinician's own impression and plan, kept apart from anything computed."""

    impression = forms.CharField(
        required=False, max_length=4000, widget=forms.Textarea(attrs={"rows": 3})
    )
    plan = forms.CharField(
        required=False, max_length=4000, label=_("Plan, one step a line"),
        widget=forms.Textarea(attrs={"rows": 4}),
    )  # fmt: skip

    def conclusion(self) -> Conclusion:
        """The form as a conclusion."""
        steps = [line.strip() for line in self.cleaned_data["plan"].splitlines()]
        return Conclusion(
            impression=self.cleaned_data["impression"].strip(), plan=tuple(filter(None, steps))
        )


@dataclass(frozen=True, slots=True)
class SignPage(BedsidePage):
    """What the page before a signature is given."""

    form: ConclusionForm
    """The clinician's own words."""
    error: str
    """Why it could not be signed."""
    missing: tuple[tuple[str, tuple[str, ...]], ...]
    """What is essential and not examined, by stage."""
    called_for: tuple[tuple[str, tuple[str, ...]], ...]
    """What is called for and not examined, by the reason that calls for it."""
    not_excluded: tuple[RedFlag, ...]
    """Flags that are still open."""
    conflicts: tuple[tuple[Item, str], ...]
    """Items and sides at which two values contradict each other."""
    seen: str
    """Where the ledger ends as this page shows it."""
    newer: tuple[NewEntry, ...]
    """What has come since the page before was shown."""
    asked: tuple[AskedFlag, ...]
    """The raised flags, each with its tick and who follows it up."""
    left_out: tuple[str, ...]
    """What a full examination has and this kind of visit has not, where nothing was found."""


@dataclass(frozen=True, slots=True)
class ReasonPage(BedsidePage):
    """What the page that asks for a reason is given."""

    form: ReasonForm
    """The reason."""
    what: str
    """What it is a reason for."""
    error: str
    """Why it could not be done."""


@require_http_methods(["GET", "POST"])
def sign(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """What is still open, said again, then the signature."""
    examination, may_write = allowed_examination(request.user, pk, write=True)
    now = current(examination)
    written = now.record.conclusion
    start = {"impression": written.impression, "plan": "\n".join(written.plan)}
    form = ConclusionForm(request.POST or None, initial=start)
    error = ""
    newer: tuple[NewEntry, ...] = ()
    if request.method == "POST" and form.is_valid():
        error = _sign_or_keep(request, examination, now, form.conclusion())
        if not error:
            return redirect("note" if "sign" in request.POST else "examination", pk=pk)
        # What came between the look and the signature is shown as it is now.
        now = current(examination)
        newer = in_words(newer_than(request.POST.get("seen", ""), now) or (), now)
    page = bedside_page(request, examination, now, may_write, "sign")
    context = SignPage(
        **values(page), form=form, error=error, seen=end_of(now), newer=newer,
        asked=asked_flags(now.completeness.raised, request.POST), **_still_open(now),
    )  # fmt: skip
    status = 422 if error or form.errors else 200
    return show(request, "examinations/sign.html", context, status=status)


def _sign_or_keep(
    request: SignedInRequest, examination: Examination, now: Current, conclusion: Conclusion
) -> str:
    """Keep the words as a draft, or sign what was seen; why not, if not."""
    words = _entry(request.user, Concluded(conclusion=conclusion))
    if "sign" not in request.POST:
        return _added(examination, [words])
    flags = request.POST.getlist("flag")
    try:
        refuse_unseen(request.POST.get("seen", ""), flags, now)
        follow_up = follow_up_of(asked_flags(now.completeness.raised, request.POST))
    except UserError as error:
        return error.message
    signed = Signed(
        ledger=ledger_digest([*now.entries, words]),
        account=request.user.pk,
        flags=tuple(flag.flag for flag in now.completeness.raised),
        follow_up=follow_up,
        said=said_of_signature(examination, now),
    )
    return _added(examination, [words, _entry(request.user, signed)])


def _still_open(now: Current) -> dict[str, Any]:
    missing = now.completeness.missing
    always = {
        str(entry.stage): open_labels(_of(entry.stage, missing)) for entry in essential(missing)
    }
    flags = now.completeness.flags
    labels = now.protocol.by_id
    return {
        "missing": tuple(always.items()),
        "called_for": tuple(by_reason(missing).items()),
        "left_out": tuple(item.label for item in now.completeness.left_out),
        "not_excluded": called_for_flags(flags),
        "conflicts": tuple((labels[c.item], c.side) for c in now.record.conflicts),
    }


def _of(stage: Stage, missing: tuple[Missing, ...]) -> tuple[Missing, ...]:
    return tuple(one for one in essential(missing) if one.stage == stage)


@require_http_methods(["GET", "POST"])
@stepped_up
def amend(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Open a signed revision again, for a reason; the signed one stays readable."""
    return _with_reason(request, pk, "amend", lambda reason: Amended(reason=reason))


@require_http_methods(["GET", "POST"])
def discard(request: SignedInRequest, pk: UUID) -> HttpResponse:
    """Give up a draft, for a reason; its ledger is kept."""
    return _with_reason(request, pk, "discard", lambda reason: Discarded(reason=reason))


def _with_reason(request: SignedInRequest, pk: UUID, what: str, deed: Any) -> HttpResponse:
    examination, may_write = allowed_examination(request.user, pk, write=True)
    form = ReasonForm(request.POST or None)
    error = ""
    if request.method == "POST" and form.is_valid():
        error = _do(examination, request.user, deed(form.cleaned_data["reason"]))
        if not error:
            messages.info(request, DONE[what])
            if what == "amend":
                return redirect("examination", pk=pk)
            return redirect("patient", key=examination.patient.key)
    page = bedside_page(request, examination, current(examination), may_write, what)
    context = ReasonPage(**values(page), form=form, what=what, error=error)
    status = 422 if error or form.errors else 200
    return show(request, "examinations/reason.html", context, status=status)


def _do(examination: Examination, user: User, deed: Deed) -> str:
    return _added(examination, [_entry(user, deed)])


def _entry(user: User, deed: Deed) -> Entry:
    return Entry(id=uuid4().hex, at=timezone.now(), by=user.signs_as, deed=deed)


def _added(examination: Examination, entries: list[Entry]) -> str:
    try:
        add(examination, entries)
    except UserError as error:
        return error.message
    return ""
