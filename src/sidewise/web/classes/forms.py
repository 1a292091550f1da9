"""The forms of classes: a class, its students, codes to join by, and a colleague."""

from __future__ import annotations

from typing import Any

from django import forms

from sidewise.regions import regions
from sidewise.teaching.classes.codes import MOST
from sidewise.web.likeness import has_unseen

GROUP_HELP = "Leave it empty for the class as a whole."


class SeenText(forms.CharField):
    """Text that shows all that it holds."""

    def validate(self, value: Any) -> None:
        """As Django's; a character that cannot be seen is refused."""
        super().validate(value)
        if value and has_unseen("".join(value.splitlines())):
            raise forms.ValidationError("It holds a character that cannot be seen.")


def group_field() -> SeenText:
    """A group of a class, or none."""
    return SeenText(label="Group", required=False, max_length=40, help_text=GROUP_HELP)


class NewClassForm(forms.Form):
    """A new class: its title and which region it studies."""

    title = SeenText(max_length=80, label="Title", help_text="For example: spring, third year.")
    region = forms.ChoiceField(label="Region")

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        field = self.fields["region"]
        known = regions()
        choices = [(name, known[name].label) for name in known]
        assert isinstance(field, forms.ChoiceField)
        field.choices = choices if len(choices) == 1 else [("", "choose"), *choices]


class MembersForm(forms.Form):
    """Students by their accounts."""

    names = SeenText(
        label="Students", max_length=4000, widget=forms.Textarea(attrs={"rows": 4}),
        help_text="The names or codes of their accounts, one in a line.",
    )  # fmt: skip
    group = group_field()

    @property
    def listed(self) -> list[str]:
        """Each name once, in the order in which they were typed."""
        lines = (line.strip() for line in self.cleaned_data["names"].splitlines())
        return list(dict.fromkeys(line for line in lines if line))


class CodesForm(forms.Form):
    """How many codes to join by."""

    count = forms.IntegerField(
        label="How many codes", min_value=1, max_value=MOST,
        help_text="One for each student; each works once, for fourteen days.",
    )  # fmt: skip
    group = group_field()


class ColleagueForm(forms.Form):
    """A colleague who teaches here, and what they may do."""

    name = SeenText(max_length=150, label="Name of a colleague who teaches here")
    may_write = forms.BooleanField(required=False, label="may also set work and change the class")


class JoinForm(forms.Form):
    """The code from the teacher's slip."""

    code = SeenText(
        max_length=40, label="Code from your teacher",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"}),
    )  # fmt: skip
