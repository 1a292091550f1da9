"""Typed forms of patients and of the context of an examination."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils import timezone

from sidewise.web.patients.models import Patient

SIDES = (("right", "patient's right"), ("left", "patient's left"))
KNOWN = (("tear", "tear"), ("surgery", "operation"), ("replacement", "replacement"))
SETTINGS = (
    ("", "not stated"), ("primary", "primary care"), ("msk_clinic", "musculoskeletal clinic"),
    ("orthopaedic", "orthopaedic clinic"), ("emergency", "emergency department"),
)  # fmt: skip


class PatientForm(forms.Form):
    """A new patient: a code of the user's own choosing, never a name."""

    code = forms.CharField(
        max_length=60,
        label="Code",
        help_text="A code of your own, such as a letter and a number. Never a name or a number "
        "that others could trace.",
    )

    def clean_code(self) -> str:
        """Refuse a code that is taken."""
        code = " ".join(self.cleaned_data["code"].split())
        if Patient.objects.filter(code=code).exists():
            raise forms.ValidationError("This code is taken here. Choose another.")
        return code


class ContextForm(forms.Form):
    """Who was examined, where and why; everything may stay unstated."""

    age = forms.IntegerField(min_value=0, max_value=120, required=False, label="Age in years")
    sex = forms.ChoiceField(
        choices=[("", "not stated"), ("female", "woman"), ("male", "man")], required=False
    )
    dominant = forms.ChoiceField(
        choices=[("", "not stated"), ("right", "right"), ("left", "left"), ("both", "both")],
        required=False,
        label="Writing hand",
    )
    complaint = forms.MultipleChoiceField(
        choices=SIDES, required=False, widget=forms.CheckboxSelectMultiple, label="Complaint"
    )
    setting = forms.ChoiceField(choices=SETTINGS, required=False)
    onset = forms.ChoiceField(
        choices=[("", "not stated"), ("sudden", "sudden"), ("gradual", "gradual")], required=False
    )
    duration_weeks = forms.FloatField(
        min_value=0, max_value=5200, required=False, label="For how many weeks"
    )
    pain_0_10 = forms.FloatField(min_value=0, max_value=10, required=False, label="Pain, 0 to 10")
    mechanism = forms.CharField(max_length=500, required=False, label="How it began")
    known_right = forms.MultipleChoiceField(
        choices=KNOWN, required=False, widget=forms.CheckboxSelectMultiple,
        label="Known of the patient's right",
    )  # fmt: skip
    known_left = forms.MultipleChoiceField(
        choices=KNOWN, required=False, widget=forms.CheckboxSelectMultiple,
        label="Known of the patient's left",
    )  # fmt: skip

    def changes(self) -> dict[str, Any]:
        """The fields as changes of a context."""
        data = dict(self.cleaned_data)
        ticked = {side: data.pop(f"known_{side}") for side in ("left", "right")}
        known = {side: {w: w in words for w, _ in KNOWN} for side, words in ticked.items()}
        data = {name: (None if value == "" else value) for name, value in data.items()}
        return {**data, "known": known, "complaint": tuple(data["complaint"])}


def initial_of(context: Any) -> dict[str, Any]:
    """A context as the form's first values."""
    data = {
        name: getattr(context, name) for name in ContextForm.base_fields if hasattr(context, name)
    }
    for side in ("left", "right"):
        known = getattr(context.known, side).model_dump()
        data[f"known_{side}"] = [word for word, value in known.items() if value]
    return data


def now() -> Any:
    """The time of an examination that begins now, to the second."""
    return timezone.localtime().replace(microsecond=0)
