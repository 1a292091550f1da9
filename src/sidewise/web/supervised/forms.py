"""The forms of a learner's visit: consent before it, findings in it, a word after it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from django import forms
from django.http import QueryDict

from sidewise.errors import UserError
from sidewise.knowledge.region import Region
from sidewise.practice.supervised import parse_finding, typed_finding
from sidewise.record import Finding
from sidewise.web.supervised.models import LearnerVisit

TYPED = "typed."
LASTS = [(str(minutes), f"{minutes} minutes") for minutes in (30, 60, 120, 240)]
LONGEST = 300


class ConsentForm(forms.Form):
    """Which student, that the patient agreed and how, and how long it lasts at most."""

    student = forms.CharField(max_length=150, label="Name or code of the student's account")
    how = forms.ChoiceField(
        choices=LearnerVisit.Consent.choices, widget=forms.RadioSelect, label="The patient"
    )
    minutes = forms.ChoiceField(choices=LASTS, initial="60", label="For at most")
    told = forms.BooleanField(
        label="The patient was told all of this, and agreed",
        error_messages={"required": "Without the patient's consent no student examines."},
    )


class RemarkForm(forms.Form):
    """What the supervisor says to the learner; it must not say who the patient is."""

    remark = forms.CharField(
        max_length=1000, required=False, label="A word to the student (no name, no code)",
        widget=forms.Textarea(attrs={"rows": 3}),
    )  # fmt: skip


def deeds_from(region: Region, post: QueryDict) -> list[dict[str, Any]]:
    """What the learner's page sent: everything typed, and the button that was pressed."""
    if number := post.get("take_back"):
        if not (number.isascii() and number.isdigit() and len(number) < 6):
            raise UserError("take back", number, "an entry of this record")
        return [{"taken_back": int(number)}]
    found = [*_typed(region, post), *_pressed(region, post)]
    if not found:
        raise UserError("your record", None, "what you found", "Type it or press a button.")
    return [{"found": one.model_dump(mode="json", by_alias=True, exclude_none=True)}
            for one in found]  # fmt: skip


def _typed(region: Region, post: QueryDict) -> Iterator[Finding]:
    for name in post:
        text = post.get(name, "")
        if name.startswith(TYPED) and text.strip():
            if len(text) > LONGEST:
                raise UserError("your record", f"{len(text)} characters", f"at most {LONGEST}")
            item, side, mode = _place(name.removeprefix(TYPED), ".")
            yield typed_finding(region, item, side, mode, text)


def _pressed(region: Region, post: QueryDict) -> Iterator[Finding]:
    if text := post.get("value"):
        where, _, code = text.partition("|")
        item, side, mode = _place(where, " ")
        try:
            value = json.loads(code)
        except (ValueError, RecursionError):
            raise UserError("your record", text[:LONGEST], "a button of the page") from None
        data = {"item": item, "side": side, "value": value} | ({"mode": mode} if mode else {})
        yield parse_finding(data, region)


def _place(text: str, between: str) -> tuple[str, str, str]:
    item, side, mode, *more = [*text.split(between), "", "", ""]
    if any(more) or not item or not side:
        raise UserError("your record", text[:LONGEST], "a place: item, side and mode")
    return item, side, mode
