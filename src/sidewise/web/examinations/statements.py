"""The context on the page: questions, the forms of the context, and what is in dispute.

A form carries what it showed and which entries held it, so that only what a person changed is
stated anew, and only in place of what that person saw.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django import forms
from django.http import QueryDict
from django.utils import timezone

from sidewise.ground.settings import SETTING_WORDS
from sidewise.protocol import HistoryItem, Protocol, VitalSign
from sidewise.protocol.model import FollowedScale
from sidewise.record.ledger import Entry, Folded, Stated
from sidewise.record.statement import PLAIN, words_of
from sidewise.web.examinations.following import kinds_offered
from sidewise.web.examinations.forms import ContextForm, initial_of
from sidewise.web.examinations.pieces import NOBODY, SWAP, TOKEN, kept_text, render_text
from sidewise.web.examinations.state import Current
from sidewise.web.examinations.widgets import attribute_json

ANSWERS = ("no", "yes", "unsure", "not asked")


@dataclass(frozen=True, slots=True)
class Choice:
    """One answer that can be given."""

    word: str
    pressed: bool


@dataclass(frozen=True, slots=True)
class StatedClaim:
    """One of several different answers that stand."""

    words: str
    by: str
    value: str


@dataclass(frozen=True, slots=True)
class DisputeShown:
    """A field with different answers, to be settled by a person."""

    field: str
    label: str
    claims: tuple[StatedClaim, ...]
    replaces: str

    @property
    def sentence(self) -> str:
        """The same in one sentence, for a note."""
        claims = ", ".join(f"{claim.words} ({claim.by})" for claim in self.claims)
        return f"{self.label}: different answers stand, not settled: {claims}."


@dataclass(frozen=True, slots=True)
class QuestionContext:
    """What the template of a question is given."""

    item: HistoryItem
    """The question."""
    answer: str
    """Its answer so far."""
    answers: tuple[Choice, ...]
    """The answers that can be given."""
    replaces: str
    """The entries that an answer takes the place of."""
    claims: tuple[StatedClaim, ...]
    """Different answers that stand, where there are several."""
    is_open: bool
    """Whether anything can be recorded."""
    examination: Any
    """For addresses."""
    csrf_token: str
    """For forms."""
    oob: str
    """The mark of a piece that takes the place of the one on the page."""


def question_piece(now: Current, item: HistoryItem, is_open: bool) -> str:
    """A question as a text to fill; the same question so answered is rendered once."""
    field = f"history.{item.id}"
    answer = now.record.context.answer(item.id)
    replaces = " ".join(now.folded.stating(field))
    claims = next((d.claims for d in disputes_shown(now) if d.field == field), ())
    choices = tuple(Choice(word, word == answer and not claims) for word in ANSWERS)
    context = QuestionContext(item, answer, choices, replaces, claims, is_open,
                              NOBODY, TOKEN, SWAP)  # fmt: skip
    key = ("question", id(now.protocol), item.id, answer, replaces, claims, is_open)
    return kept_text(key, now.protocol, lambda: render_text("examinations/question.html", context))


@dataclass(frozen=True, slots=True)
class NoneOfThese:
    """The core questions still open, which one touch answers with no after they were asked.

    others: whether some have an answer already. answers: as the text of a form field.
    """

    questions: tuple[HistoryItem, ...]
    others: bool
    answers: str


def none_of_these(now: Current) -> NoneOfThese:
    """The core questions that nobody has answered yet, not even differently."""
    core = [item for item in now.protocol.history if item.core]
    stated = [Stated(field=f"history.{item.id}", value="no") for item in core]
    still = [
        (item, deed) for item, deed in zip(core, stated, strict=True)
        if now.record.context.answer(item.id) == "not asked" and not now.folded.stating(deed.field)
    ]  # fmt: skip
    return NoneOfThese(
        tuple(item for item, _ in still),
        len(still) < len(core),
        attribute_json([{"field": deed.field, "value": deed.value} for _, deed in still]),
    )


def entries_of_none(now: Current, by: str, shown: str) -> list[Entry]:
    """One entry for each of them that the form named, undone together.

    shown: the form's own text. What was answered when the page was made, and taken back since, was
    not among what its reader said no to.
    """
    stem, at = uuid4().hex, timezone.now()
    open_now = (f"history.{item.id}" for item in none_of_these(now).questions)
    fields = (field for field in open_now if f'"{field}"' in shown)
    return [
        Entry(id=f"{stem}.{n}", at=at, by=by, deed=Stated(field=field, value="no"))
        for n, field in enumerate(fields)
    ]


def disputes_shown(now: Current) -> tuple[DisputeShown, ...]:
    """Every field with different answers, who gave them, and what keeping one would send."""
    by = {entry.id: entry.by for entry in now.entries} if now.folded.disputes else {}
    held = now.folded.statements
    return tuple(
        DisputeShown(
            dispute.field,
            label_of(now.protocol, dispute.field),
            tuple(
                StatedClaim(
                    value_words(held[n].field, held[n].value), by[n], text_of(held[n].value)
                )
                for n in dispute.entries
            ),
            " ".join(dispute.entries),
        )
        for dispute in now.folded.disputes
    )


def label_of(protocol: Protocol, field: str) -> str:
    """A field by the name that a person knows."""
    table, _, name = field.partition(".")
    tables: dict[str, Mapping[str, HistoryItem | VitalSign | FollowedScale]] = {
        "history": protocol.history_by_id,
        "vitals": protocol.vitals_by_id,
        "scales": protocol.scales_by_id,
    }
    known = tables.get(table, {}).get(name)
    return known.label if known else words_of(field)


def value_words(field: str, value: Any) -> str:
    """A value in words."""
    if field == "setting":
        return SETTING_WORDS.get(value or "", "not stated")
    text = text_of(value)
    if isinstance(value, dict | list | tuple):
        text = text.replace(" ", " and ")
    return text or "not stated"


def text_of(value: Any) -> str:
    """A value as the text that states it again."""
    if isinstance(value, dict):
        return " ".join(word for word, true in value.items() if true)
    if isinstance(value, list | tuple):
        return " ".join(value)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)


class VitalsForm(forms.Form):
    """Vital signs of the whole person, each within what is possible at all."""

    def __init__(self, now: Current, data: Any = None) -> None:
        super().__init__(data, initial=now.record.context.vitals)
        for vital in now.protocol.vitals:
            self.fields[vital.id] = forms.FloatField(
                required=False,
                min_value=vital.low,
                max_value=vital.high,
                label=f"{vital.label}, {vital.unit}",
                widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 6}),
                error_messages=dict.fromkeys(
                    ("invalid", "min_value", "max_value"),
                    f"{vital.unit} from {vital.low:g} to {vital.high:g}; check the unit and "
                    "the decimal point.",
                ),
            )


class ScalesForm(forms.Form):
    """Pain, function and totals of questionnaires, each within its own ends."""

    def __init__(self, now: Current, data: Any = None) -> None:
        super().__init__(data, initial=now.record.context.scales)
        asked = now.protocol.scale_questions
        # Single questions first; pain in general stands with age and side.
        ordered = sorted(now.protocol.scales, key=lambda scale: scale.id not in asked)
        for scale in ordered:
            if scale.id in PLAIN:
                continue
            self.fields[scale.id] = forms.FloatField(
                required=False,
                help_text=asked.get(scale.id, ""),
                min_value=scale.low,
                max_value=scale.high,
                label=f"{scale.label} ({scale.low:g} to {scale.high:g})",
                widget=forms.TextInput(attrs={"inputmode": "decimal", "size": 6}),
                error_messages=dict.fromkeys(
                    ("invalid", "min_value", "max_value"),
                    f"A number from {scale.low:g} to {scale.high:g}; check the decimal point.",
                ),
            )


def about_form(now: Current, data: Any = None) -> ContextForm:
    """The form of age, side and setting as it stands.

    A kind of visit that follows another is offered only where there is one to follow.
    """
    context = now.record.context
    kinds = kinds_offered(now.protocol, can_follow=context.follows is not None)
    return ContextForm(data, initial=initial_of(context), kinds=kinds)


def field_of(form: forms.Form, name: str) -> str:
    """The field of the context that a field of a form states."""
    if isinstance(form, VitalsForm | ScalesForm):
        return f"{'vitals' if isinstance(form, VitalsForm) else 'scales'}.{name}"
    return name.replace("known_", "known.")


@dataclass(frozen=True, slots=True)
class ShownField:
    """One field of a form as it was shown: its texts, and the entries that hold it."""

    field: str
    was: tuple[str, ...]
    replaces: tuple[str, ...]


def shown_in(form: forms.Form, folded: Folded) -> dict[str, ShownField]:
    """What a fresh form shows, by the name of its field."""
    return {name: _shown(form, name, folded) for name in form.fields}


def _shown(form: forms.Form, name: str, folded: Folded) -> ShownField:
    bound = form[name]
    text = bound.field.widget.format_value(bound.initial)
    was = tuple(text) if isinstance(text, list) else (text or "",)
    field = field_of(form, name)
    return ShownField(field, was, folded.stating(field))


def states_text(form: forms.Form, folded: Folded) -> str:
    """The same as the text of a hidden field."""
    found = shown_in(form, folded)
    return json.dumps(
        {n: {"field": s.field, "was": s.was, "replaces": s.replaces} for n, s in found.items()}
    )


def entries_of_form(form: forms.Form, posted: QueryDict, now: Current, by: str) -> list[Entry]:
    """One entry for every field that was changed since the page showed it."""
    fresh = shown_in(form, now.folded)
    seen = {**fresh, **seen_by(posted.get("states", ""), fresh)}
    stem, at = uuid4().hex, timezone.now()
    stated = [
        Stated(field=shown.field, value=value, replaces=shown.replaces)
        for name, shown in seen.items()
        if (value := _changed(form, name, posted, shown)) is not None
    ]
    return [Entry(id=f"{stem}.{n}", at=at, by=by, deed=deed) for n, deed in enumerate(stated)]


def _changed(form: forms.Form, name: str, posted: QueryDict, shown: ShownField) -> Any:
    several = isinstance(form.fields[name], forms.MultipleChoiceField)
    given = [text.strip() for text in posted.getlist(name)]
    if several:
        return given if sorted(given) != sorted(shown.was) else None
    text = given[-1] if given else ""
    return text if [text] != list(shown.was) else None


def seen_by(text: str, fresh: dict[str, ShownField]) -> dict[str, ShownField]:
    """What the page says that it showed; nothing of it is believed but texts and entries."""
    try:
        told = json.loads(text)
        return {
            name: ShownField(fresh[name].field, _texts(one["was"]), _texts(one["replaces"]))
            for name, one in told.items()
            if name in fresh
        }
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _texts(value: Any) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(text, str) for text in value):
        raise TypeError
    return tuple(value)
