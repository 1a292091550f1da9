"""What one person usually does: setting of care, instrument, language, and the first tour."""

from __future__ import annotations

from dataclasses import dataclass

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_http_methods

from sidewise.ground.language import offered_languages, term
from sidewise.ground.settings import said_settings
from sidewise.web.accounts.permissions import SignedInRequest
from sidewise.web.audit.watch import shows_no_record
from sidewise.web.examinations.models import Preferences
from sidewise.web.examinations.usual import remember_usual
from sidewise.web.examinations.widgets import INSTRUMENTS
from sidewise.web.pages import show


def _other_instruments() -> list[tuple[str, str]]:
    return [(name, term(name)) for name in INSTRUMENTS if name != "eye"]


class PreferencesForm(forms.ModelForm):  # type: ignore[type-arg]
    """What is chosen beforehand on new pages; nothing of it is recorded by itself."""

    setting = forms.ChoiceField(
        choices=lambda: [("", _("choose each time")), *said_settings()], required=False,
        label=_("Where you usually see patients"),
        help_text=_("Chosen beforehand for a new examination, where it can be changed."),
    )  # fmt: skip
    instrument = forms.ChoiceField(
        choices=lambda: [("", _("the eye")), *_other_instruments()],
        required=False, label=_("What you usually read angles with"),
        help_text=_("Another one chosen during an examination holds for that patient only."),
    )  # fmt: skip

    language = forms.ChoiceField(
        choices=lambda: [("", _("as this machine is set")), *offered_languages()],
        required=False, label=_("Language"),
        help_text=_("Of pages, notes and techniques. Files and the typed line stay in English."),
    )  # fmt: skip

    class Meta:
        model = Preferences
        fields = ("setting", "instrument", "language")


@dataclass(frozen=True, slots=True)
class PreferencesPage:
    """What the page of preferences is given."""

    form: PreferencesForm
    """The three choices."""
    tour: bool
    """Whether the tour stands on the page as well."""


@require_http_methods(["GET", "HEAD", "POST"])
@shows_no_record
def preferences(request: SignedInRequest) -> HttpResponse:
    """One's own usual choices; with `toured`, only that the tour was taken or skipped."""
    kept = Preferences.objects.filter(user=request.user).first() or Preferences(user=request.user)
    if "toured" in request.POST:
        kept.toured = True
        _keep(request, kept)
        return redirect("today")
    form = PreferencesForm(request.POST or None, instance=kept)
    if request.method == "POST" and form.is_valid():
        _keep(request, form.save(commit=False))
        messages.success(request, _("Kept."))
        return redirect("preferences")
    page = PreferencesPage(form, tour=True)
    return show(request, "examinations/preferences.html", page, 422 if form.is_bound else 200)


def _keep(request: SignedInRequest, kept: Preferences) -> None:
    kept.save()
    remember_usual(request.session, kept)
