"""The forms of the room: a step, what one thinks, the end; and what a teacher sets."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import QueryDict

from sidewise.errors import UserError
from sidewise.ground.validation import validate_model
from sidewise.practice.room import (
    Ask,
    Examine,
    Finish,
    Hint,
    Measure,
    Room,
    State,
    Step,
    verb_of,
)
from sidewise.practice.wishes import DIFFICULTIES
from sidewise.web.classes.forms import SeenText, group_field

HINTS = [("none", "none"), ("some", "some: what next, in a word"), ("many", "many: and why")]


def step_from(room: Room, post: QueryDict) -> Step:
    """The step that a button of the room asks for; UserError for what is none."""
    kind, _, what = post.get("step", "").partition(" ")
    if kind == "ask":
        return validate_model(Ask, {"question": what}, "step")
    if kind == "measure":
        return validate_model(Measure, {"vital": what}, "step")
    if kind == "hint":
        return validate_model(Hint, {"kind": what}, "step")
    if kind == "examine":
        name, _, side = what.partition(" ")
        if name not in room.protocol.by_id:
            raise UserError("step", name, "an item of the protocol")
        place = post.get(f"place.{name}") or None
        verb = verb_of(room.protocol, room.protocol.item(name))
        parts = {"do": verb, "item": name, "side": side, "place": place}
        return validate_model(Examine, parts, "step")
    raise UserError("step", post.get("step"), "a step of the room", "Use a button of the page.")


def thought_from(room: Room, post: QueryDict) -> State:
    """What the learner thinks now."""
    return validate_model(
        State,
        {"chances": _chances(room, post), "next_item": post.get("next_item", ""),
         "because": post.get("because", "")[:500], "not_to_miss": post.getlist("flag")},
        "what you think",
    )  # fmt: skip


def end_from(room: Room, post: QueryDict) -> Finish:
    """The end: chances, the flags that stand, and what is to be done."""
    return validate_model(
        Finish,
        {"chances": _chances(room, post), "flags": post.getlist("flag"),
         "plan": post.get("plan", "")[:2000]},
        "the end",
    )  # fmt: skip


def _chances(room: Room, post: QueryDict) -> dict[str, float]:
    """What was typed, in percent; a field left empty says nothing, and is not zero."""
    found = {}
    for group in room.groups:
        text = post.get(f"chance.{group.id}", "").strip().rstrip("%").strip()
        if not text:
            continue
        if not text.isascii() or not text.isdigit() or int(text[:4]) > 100:
            raise UserError(group.label, text, "a whole number from 0 to 100",
                            "In percent; leave it empty where you have no idea yet.")  # fmt: skip
        found[group.id] = int(text) / 100
    return found


class FreeCaseForm(forms.Form):
    """A case of one's own choosing."""

    difficulty = forms.ChoiceField(
        label="How misleading", choices=[(d, d) for d in DIFFICULTIES], initial="usual"
    )
    hints = forms.ChoiceField(label="Hints", choices=HINTS, initial="some")


class SetCaseForm(forms.Form):
    """A case set for a class: one seed for all, or a kind of case with a patient for each."""

    title = SeenText(max_length=80, label="Title", help_text="Students see it: no diagnosis.")
    due = forms.DateField(label="To be done by", widget=forms.DateInput(attrs={"type": "date"}))
    group = group_field()
    written = forms.ChoiceField(label="A case of yours", required=False)
    seed = forms.IntegerField(
        label="Seed", required=False, min_value=0, max_value=2**31 - 1,
        help_text="With a seed all have the same patient; without, each a patient of their own.",
    )  # fmt: skip
    present = SeenText(
        label="With", required=False, max_length=300,
        help_text="Conditions to have, by their names, with commas: frozen, cuff:full-thickness "
        "tear.",
    )  # fmt: skip
    absent = SeenText(label="Without", required=False, max_length=300, help_text="Or: others.")
    flags = SeenText(label="Flags", required=False, max_length=300, help_text="Or: none.")
    difficulty = forms.ChoiceField(
        label="How misleading", choices=[(d, d) for d in DIFFICULTIES], initial="usual"
    )
    hints = forms.ChoiceField(label="Hints", choices=HINTS, initial="none")

    def __init__(self, written: list[tuple[str, str]], *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        field = self.fields["written"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = [("", "none: a drawn case"), *written]

    @property
    def what(self) -> dict[str, Any]:
        """What is set, in the words of the practice room."""
        data = self.cleaned_data
        if data["written"]:
            return {"case": data["written"], "hints": data["hints"]}
        lists = {name: [one.strip() for one in data[name].split(",") if one.strip()]
                 for name in ("present", "absent", "flags")}  # fmt: skip
        return {**lists, "seed": data["seed"], "difficulty": data["difficulty"],
                "hints": data["hints"]}  # fmt: skip


class WrittenCaseForm(forms.Form):
    """A case written by hand, and its truth."""

    title = SeenText(max_length=80, label="Title", help_text="Yours; students do not see it.")
    case = forms.FileField(label="Case", help_text="A file of the format sidewise-case/1.")
    truth = forms.FileField(label="Truth", help_text="Its truth, sidewise-case-truth/1.")
