"""The typed form of a patient."""

from __future__ import annotations

import re
from itertools import count
from typing import Any

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from sidewise.record.reading import SIMULATED
from sidewise.web.accounts.models import User
from sidewise.web.likeness import has_unseen, looks_like_a_person, skeleton
from sidewise.web.patients.models import Patient

HELP = (
    "A code of your own, such as a letter and a number. Never a name or a number that others "
    "could trace."
)


def next_code(owner: User) -> str:
    """The code after the last one of this person's patients: HERON-12 is followed by HERON-13.

    Empty where there is none yet, or where it ends with no number of at most four digits.
    """
    own = Patient.objects.filter(owner=owner)
    last = own.order_by("-created_at", "-pk").values_list("code", flat=True).first() or ""
    found = re.fullmatch(r"(.*\D|)(\d{1,4})", last)
    if found is None:
        return ""
    taken = {skeleton(code) for code in own.values_list("code", flat=True)}
    start, digits = found.groups()
    codes = (f"{start}{n:0{len(digits)}}" for n in count(int(digits) + 1))
    return next(code for code in codes if skeleton(code) not in taken)


class PatientForm(forms.Form):
    """A new patient: a code of the user's own choosing, never a name."""

    def __init__(self, owner: User, data: QueryDict | None = None) -> None:
        super().__init__(data, initial={"code": next_code(owner)})
        self.owner = owner
        if not self.asks:
            del self.fields["not_a_person"]
        if self.initial["code"]:
            self.fields[
                "code"
            ].help_text = f"Counted on from your last patient; change it if you like. {HELP}"

    code = forms.CharField(
        max_length=60,
        label=_("Code"),
        help_text=HELP,
    )

    not_a_person = forms.BooleanField(
        required=False, label=_("This is a code of my own, not a name or a birthday")
    )

    def clean(self) -> dict[str, Any]:
        """Ask, once, about a code that looks like a person's own name or birthday."""
        data = dict(super().clean() or {})
        why = looks_like_a_person(data.get("code", ""))
        if why and not data.get("not_a_person"):
            self.add_error(
                "code",
                f"This looks like {why}: never use what others could trace. Choose another code, "
                "or say below that it is a code of your own.",
            )
        return data

    @property
    def asks(self) -> bool:
        """Whether the question about the code is to be shown."""
        return self.is_bound and bool(looks_like_a_person(str(self.data.get("code", ""))))

    def clean_code(self) -> str:
        """Refuse a code that looks like another of one's own; of others' nothing is told."""
        code = " ".join(self.cleaned_data["code"].split())
        if has_unseen(code):
            raise forms.ValidationError("The code holds a character that cannot be seen.")
        if skeleton(code).startswith(skeleton(SIMULATED)):
            raise forms.ValidationError(
                "Codes that begin so are of simulated patients: nobody examined here is one."
            )
        own = Patient.objects.filter(owner=self.owner).values_list("code", flat=True)
        alike = [other for other in own if skeleton(other) == skeleton(code)]
        if code in alike:
            raise forms.ValidationError("You have a patient with this code. Choose another.")
        if alike:
            raise forms.ValidationError(f"This looks like your {alike[0]}. Choose another.")
        return code
