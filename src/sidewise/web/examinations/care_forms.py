"""The forms of what was done and planned, of results and of totals; each makes one entry."""

from __future__ import annotations

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _
from pydantic import TypeAdapter, ValidationError

from sidewise.errors import UserError
from sidewise.ground.language import term
from sidewise.ground.validation import user_errors
from sidewise.record.care import (
    DOSE_UNITS,
    INVESTIGATIONS,
    OUTCOMES,
    RELIEFS,
    SPEEDS,
    STEPS,
    CareEntry,
)
from sidewise.web.examinations.state import Current

ENTRY: TypeAdapter[CareEntry] = TypeAdapter(CareEntry)
UNSTATED = ("", _("not stated"))
CHOOSE = ("", _("choose"))
SIDES = (UNSTATED, ("right", _("patient's right")), ("left", _("patient's left")),
         ("both", _("both")))  # fmt: skip
ONE_SIDE = (CHOOSE, ("right", _("patient's RIGHT")), ("left", _("patient's LEFT")))
ASKED = (CHOOSE, ("no", _("no")), ("yes", _("yes")), ("unsure", _("not sure")))
SUBSTANCES = (1, 2)
DECIMAL = {"inputmode": "decimal", "size": 6}


def plain_choices(words: tuple[str, ...], first: tuple[str, Any] = UNSTATED) -> Any:
    """The words of a closed list as choices, none of them chosen beforehand.

    Said anew for each form: the words stand in records in English.
    """
    return lambda: [first, *((word, term(word)) for word in words)]


class CareForm(forms.Form):
    """A form that makes one entry; what was left empty is not stated."""

    kind = ""
    title = ""

    def __init__(self, now: Current, data: Any = None) -> None:
        super().__init__(data, prefix=self.kind)
        self.now = now

    def content(self) -> dict[str, Any]:
        """The fields as the entry keeps them."""
        return {name: value for name, value in self.cleaned_data.items() if value not in ("", None)}

    def entry(self) -> CareEntry | None:
        """The entry, or None with what is wrong of it said in the form."""
        try:
            return ENTRY.validate_python({"kind": self.kind, **self.content()})
        except ValidationError as error:
            self.add_error(None, _in_words(error, self))
            return None


def _in_words(error: ValidationError, form: CareForm) -> str:
    first = user_errors(error)[0]
    name = first.where.removeprefix(form.kind).strip(".")
    if name.startswith("substances"):
        return UserError("Substance, dose and unit", first.got, first.expected, first.do).message
    field = form.fields.get(name)
    label = str(field.label or name.replace("_", " ")) if field else form.title
    return UserError(label, first.got, first.expected, first.do).message


class InvestigationForm(CareForm):
    """A test and what it showed."""

    kind = "investigation"
    title = "the result"

    name = forms.ChoiceField(choices=plain_choices(INVESTIGATIONS, CHOOSE), label=_("Test"))
    outcome = forms.ChoiceField(choices=plain_choices(OUTCOMES, CHOOSE), label=_("Outcome"))
    side = forms.ChoiceField(choices=SIDES, required=False, label=_("Side"))
    taken_on = forms.DateField(
        required=False, label=_("Taken on"), widget=forms.DateInput(attrs={"type": "date"})
    )
    number = forms.FloatField(
        required=False, label=_("Number"), widget=forms.TextInput(attrs=DECIMAL)
    )
    unit = forms.CharField(required=False, max_length=20, label=_("Unit of the number"))
    report = forms.CharField(required=False, max_length=500, label=_("Report, in a few words"))


class CareStepForm(CareForm):
    """Something done, or planned."""

    kind = "step"
    title = "the step"

    state = forms.ChoiceField(
        choices=[CHOOSE, ("done", _("done")), ("planned", _("planned"))],
        label=_("Done or planned"),
    )
    name = forms.ChoiceField(choices=plain_choices(STEPS, CHOOSE), label=_("What"))
    side = forms.ChoiceField(choices=SIDES, required=False, label=_("Side"))
    to = forms.CharField(required=False, max_length=120, label=_("To whom (referral)"))
    how_fast = forms.ChoiceField(choices=plain_choices(SPEEDS), required=False, label=_("How fast"))
    in_weeks = forms.FloatField(
        required=False, label=_("In how many weeks"), widget=forms.TextInput(attrs=DECIMAL)
    )
    detail = forms.CharField(required=False, max_length=500, label=_("Details, in words"))


class ScoreForm(CareForm):
    """The total of a questionnaire that is not in the list."""

    kind = "score"
    title = "the total"

    name = forms.CharField(max_length=80, label=_("Questionnaire"))
    total = forms.FloatField(label=_("Total"), widget=forms.TextInput(attrs=DECIMAL))
    low = forms.FloatField(label=_("Lowest possible"), widget=forms.TextInput(attrs=DECIMAL))
    high = forms.FloatField(label=_("Highest possible"), widget=forms.TextInput(attrs=DECIMAL))
    better = forms.ChoiceField(
        choices=[UNSTATED, ("higher", _("higher is better")), ("lower", _("lower is better"))],
        required=False, label=_("Which way is better"),
    )  # fmt: skip


class InjectionForm(CareForm):
    """An injection that was given; the side is asked twice and neither is filled in for anyone."""

    kind = "injection"
    title = "the injection"

    side = forms.ChoiceField(choices=ONE_SIDE, label=_("Side injected"))
    substance_1 = forms.CharField(max_length=80, label=_("Substance"))
    dose_1 = forms.FloatField(label=_("Dose"), widget=forms.TextInput(attrs=DECIMAL))
    unit_1 = forms.ChoiceField(choices=plain_choices(DOSE_UNITS, CHOOSE), label=_("Dose unit"))
    substance_2 = forms.CharField(max_length=80, required=False, label=_("Second substance"))
    dose_2 = forms.FloatField(
        required=False, label=_("Its dose"), widget=forms.TextInput(attrs=DECIMAL)
    )
    unit_2 = forms.ChoiceField(
        choices=plain_choices(DOSE_UNITS, CHOOSE), required=False, label=_("Its dose unit")
    )
    place = forms.CharField(max_length=80, label=_("Place"))
    guided_by = forms.ChoiceField(
        choices=plain_choices(("landmarks", "ultrasound", "x-ray")), required=False,
        label=_("Guided by"),
    )  # fmt: skip
    allergy = forms.ChoiceField(choices=ASKED, label=_("Allergy to any of it?"))
    blood_thinner = forms.ChoiceField(choices=ASKED, label=_("Blood thinner?"))
    diabetes = forms.ChoiceField(choices=ASKED, label=_("Diabetes?"))
    infection = forms.ChoiceField(choices=ASKED, label=_("Infection here or anywhere?"))
    despite = forms.CharField(
        required=False, max_length=500,
        label=_("If allergy or infection was not answered no: why it was given"),
    )  # fmt: skip
    consent = forms.BooleanField(
        required=False, label=_("Consent was given before"),
        widget=forms.CheckboxInput(),
    )  # fmt: skip
    relief = forms.ChoiceField(
        choices=plain_choices(RELIEFS), required=False, label=_("Pain gone afterwards")
    )
    after_minutes = forms.FloatField(
        required=False, label=_("Minutes after it"), widget=forms.TextInput(attrs=DECIMAL)
    )
    movement = forms.ChoiceField(required=False, label=_("One movement before and after"))
    degrees_before = forms.FloatField(
        required=False, label=_("Degrees before"), widget=forms.TextInput(attrs=DECIMAL)
    )
    degrees_after = forms.FloatField(
        required=False, label=_("Degrees after"), widget=forms.TextInput(attrs=DECIMAL)
    )
    side_again = forms.ChoiceField(
        choices=ONE_SIDE, label=_("Side injected, once more: look at the patient")
    )
    note = forms.CharField(required=False, max_length=500, label=_("Note"))

    def __init__(self, now: Current, data: Any = None) -> None:
        super().__init__(now, data)
        movements = [(i.id, i.label) for i in now.protocol.items if i.kind("angle") and i.paired]
        self.fields["movement"].choices = [UNSTATED, *movements]  # type: ignore[attr-defined]
        if places := now.protocol.injection_places:
            choices = plain_choices(places, CHOOSE)
            self.fields["place"] = forms.ChoiceField(choices=choices, label=_("Place"))
        if stopping := now.against_injection:
            self.fields["flags"] = forms.MultipleChoiceField(
                choices=[(flag.flag, flag.label) for flag in stopping], required=False,
                widget=forms.CheckboxSelectMultiple,
                label=_("RAISED against it: tick each by name only if it was given all the same"),
            )  # fmt: skip
        wanted = [*self.fields]
        wanted.remove("side_again")
        self.order_fields([*wanted, "side_again"])

    def content(self) -> dict[str, Any]:
        """The fields, the substances and the response gathered."""
        data = super().content()
        made = [
            {"name": data.pop(f"substance_{n}", None), "dose": data.pop(f"dose_{n}", None),
             "unit": data.pop(f"unit_{n}", None)}
            for n in SUBSTANCES
        ]  # fmt: skip
        names = ("relief", "after_minutes", "movement", "degrees_before", "degrees_after")
        response = {name: data.pop(name) for name in names if name in data}
        data["substances"] = [one for one in made if any(part is not None for part in one.values())]
        data["consent"] = bool(self.cleaned_data["consent"])
        return {**data, **({"response": response} if response else {})}


FORMS: dict[str, type[CareForm]] = {
    form.kind: form for form in (CareStepForm, InjectionForm, InvestigationForm, ScoreForm)
}
"""By the kind of entry that each makes."""
