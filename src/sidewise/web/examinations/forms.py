"""The typed form of an examination's context."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from sidewise.errors import UserError
from sidewise.ground.settings import said_settings
from sidewise.knowledge.region import Region
from sidewise.protocol.visits import VisitKind
from sidewise.record import Context
from sidewise.regions import regions

SIDES = (("right", _("patient's right")), ("left", _("patient's left")))
KNOWN = (
    ("tear", _("tear")),
    ("surgery", _("operation")),
    ("replacement", _("replacement")),
    ("arthritis", _("arthritis")),
    ("dislocation", _("old dislocation")),
)


def _settings() -> list[tuple[str, str]]:
    return [("", gettext("not stated")), *said_settings()]


class ContextForm(forms.Form):
    """Who was examined, where and why; everything may stay unstated."""

    age = forms.IntegerField(min_value=0, max_value=120, required=False, label=_("Age in years"))
    # Choices of two or three stand in sight: one touch each, where a list takes two.
    sex = forms.ChoiceField(
        choices=[("", _("not stated")), ("female", _("woman")), ("male", _("man"))],
        required=False, widget=forms.RadioSelect,
    )  # fmt: skip
    dominant = forms.ChoiceField(
        choices=[
            ("", _("not stated")),
            ("right", _("right")),
            ("left", _("left")),
            ("both", _("both")),
        ],
        required=False,
        label=_("Dominant hand"),
        widget=forms.RadioSelect,
    )
    complaint = forms.MultipleChoiceField(
        choices=SIDES, required=False, widget=forms.CheckboxSelectMultiple, label=_("Complaint")
    )
    setting = forms.ChoiceField(choices=_settings, required=False)
    onset = forms.ChoiceField(
        choices=[("", _("not stated")), ("sudden", _("sudden")), ("gradual", _("gradual"))],
        required=False,
    )
    duration_weeks = forms.FloatField(
        min_value=0, max_value=5200, required=False, label=_("Duration, weeks")
    )
    pain_0_10 = forms.FloatField(
        min_value=0, max_value=10, required=False, label=_("Pain, 0 to 10")
    )
    mechanism = forms.CharField(max_length=500, required=False, label=_("How it began"))
    known_right = forms.MultipleChoiceField(
        choices=KNOWN, required=False, widget=forms.CheckboxSelectMultiple,
        label=_("Known of the patient's right side"),
    )  # fmt: skip
    known_left = forms.MultipleChoiceField(
        choices=KNOWN, required=False, widget=forms.CheckboxSelectMultiple,
        label=_("Known of the patient's left side"),
    )  # fmt: skip

    visit = forms.ChoiceField(
        required=False, label=_("Kind of visit"),
        help_text=_("What an answer or a finding calls for is wanted in every kind."),
    )  # fmt: skip

    def __init__(self, *args: Any, kinds: Sequence[VisitKind] = (), **more: Any) -> None:
        super().__init__(*args, **more)
        if len(kinds) < 2:
            del self.fields["visit"]
            return
        self.fields["visit"] = forms.ChoiceField(
            choices=[("" if kind.is_full else kind.id, kind_words(kind)) for kind in kinds],
            required=False, label=self.fields["visit"].label,
            help_text=self.fields["visit"].help_text,
        )  # fmt: skip
        self.order_fields(["visit"])

    def changes(self) -> dict[str, Any]:
        """The fields as changes of a context."""
        data = dict(self.cleaned_data)
        ticked = {side: data.pop(f"known_{side}") for side in ("left", "right")}
        known = {side: {w: w in words for w, _ in KNOWN} for side, words in ticked.items()}
        data = {name: (None if value == "" else value) for name, value in data.items()}
        return {**data, "known": known, "complaint": tuple(data["complaint"])}


def kind_words(kind: VisitKind) -> str:
    """A kind of visit for a list: its name and the time it takes."""
    return f"{kind.name}, {kind.minutes} min"


class NewExaminationForm(ContextForm):
    """The context of an examination that begins, and its region where there are several.

    kinds: the kinds of visit to choose from; none where the region is still to be chosen.
    setting: where this examiner worked last; it stands chosen, and the form says why.
    """

    region: Region

    def __init__(
        self, names: Sequence[str], data: Any = None, kinds: Sequence[VisitKind] = (),
        setting: str = "",
    ) -> None:  # fmt: skip
        super().__init__(data, kinds=kinds, initial={"setting": setting})
        if setting:
            self.fields["setting"].help_text = "Your usual or last setting; change it."
        if len(names) > 1:
            words = [(name, name.replace("_", " ")) for name in names]
            # Nothing is chosen beforehand: an examination stays of its region for good.
            self.fields["region"] = forms.ChoiceField(
                choices=[("", "choose"), *words], label=_("What is examined")
            )
            self.order_fields(["region"])

    def clean(self) -> dict[str, Any]:
        """Open the region now, so that one that cannot be used is refused with its reason."""
        cleaned = super().clean() or self.cleaned_data
        if "region" in self.errors:
            return cleaned
        try:
            self.region = regions().chosen(cleaned.pop("region", ""), "region")
        except UserError as error:
            if "region" not in self.fields:
                raise
            self.add_error("region", error.message)
        return cleaned


def initial_of(context: Context) -> dict[str, Any]:
    """A context as the form's first values."""
    data = {
        name: getattr(context, name) for name in ContextForm.base_fields if hasattr(context, name)
    }
    for side in ("left", "right"):
        known = getattr(context.known, side).model_dump()
        data[f"known_{side}"] = [word for word, value in known.items() if value]
    return data


def now() -> datetime:
    """The time of an examination that begins now, to the second."""
    return timezone.localtime().replace(microsecond=0)
