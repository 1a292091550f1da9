"""The forms of marks: a sheet with its title, what was asked of it, the rules, and a colleague."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.translation import gettext_lazy as _

from sidewise.teaching.sitting.chosen_columns import (
    FOR_ALL,
    OF_A_MARK,
    ChosenColumns,
    ChosenStation,
)
from sidewise.teaching.sitting.option_words import OPTION_WORDS
from sidewise.web.likeness import has_unseen
from sidewise.web.marks.store import Answers

if TYPE_CHECKING:
    from sidewise.teaching.sitting.understood import SheetUnderstood

WORDS_OF_ANSWERS = {
    ("zeros", "absent"): "Nobody was there: their marks are missing",
    ("zeros", "real"): "They were there and earned nothing",
    ("codes", "join"): "They are the same: join them",
    ("codes", "apart"): "They are different: keep them apart",
    ("ratings_from", "0"): "0 is the lowest rating; nobody got it",
    ("ratings_from", "1"): "1 is the lowest rating",
}
TITLES = {
    "zeros": "Students with nothing but zeros", "codes": "Codes that look alike",
    "ratings_from": "Numbers of the rating", "sitting": "Which sitting",
}  # fmt: skip
ROLE_NAMES = {
    "student": "Student", "station": "Station", "mark": "Mark", "global_rating": "Global rating",
    "item": "Item", "weight": "Weight", "critical_error": "Critical error", "circuit": "Circuit",
    "session": "Session", "sitting": "Sitting", "group": "Group", "domain": "Domain",
    "time": "Time",
}  # fmt: skip
MAIN_ROLES = ("student", "station", "mark", "global_rating")
FILE_HELP = "CSV, XLSX or Parquet, at most 5 MB. Codes for students, never names."
REASON_HELP = "It is kept with your name. Codes only, no names."
METHODS = [
    ("borderline regression", "borderline regression"), ("borderline group", "borderline group"),
    ("contrasting groups", "contrasting groups"), ("hofstee", "Hofstee (judges' limits)"),
    ("carried forward", "carried forward from an earlier sitting"),
]  # fmt: skip


class PlainText(forms.CharField):
    """A line of text that shows all that it holds."""

    def validate(self, value: Any) -> None:
        """As Django's; a character that cannot be seen is refused."""
        super().validate(value)
        if value and has_unseen(value):
            raise forms.ValidationError("It holds a character that cannot be seen.")


class SheetForm(forms.Form):
    """A file with marks."""

    sheet = forms.FileField(
        label=_("Sheet of marks"), help_text=FILE_HELP, allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.xlsx,.parquet,.txt"}),
    )  # fmt: skip

    @property
    def sent(self) -> UploadedFile:
        """The file."""
        found: UploadedFile = self.cleaned_data["sheet"]
        return found


class NewSittingForm(SheetForm):
    """A new sitting: its title and its first table."""

    title = PlainText(
        max_length=80, label=_("Title"), help_text=_("For example: teaching week, March.")
    )
    field_order = ["title", "sheet"]


class ReplaceForm(SheetForm):
    """Another table in the place of the one in force, and why."""

    reason = PlainText(max_length=300, label=_("Why another table"), help_text=REASON_HELP)
    field_order = ["sheet", "reason"]


class ShareForm(forms.Form):
    """A colleague who teaches here, and what they may do."""

    name = PlainText(max_length=150, label=_("Name of a colleague who teaches here"))
    may_write = forms.BooleanField(required=False, label=_("may also settle and decide"))


# ---------------------------------------------------------------- settling


def _text(label: str, name: str, **more: Any) -> PlainText:
    return PlainText(
        label=label, required=False, max_length=300, help_text=OPTION_WORDS[name], **more
    )


class SettleForm(forms.Form):
    """What was asked of a sheet, with what is proposed filled in; made for one sheet."""

    seen = forms.IntegerField(widget=forms.HiddenInput)
    ratings = _text("Words of the rating", "ratings")
    borderline = _text("The borderline one", "borderline")
    positions = _text("Unequal steps", "positions")
    group = _text("Column of groups to be compared", "group")

    def __init__(
        self, understood: SheetUnderstood, answers: Answers, seen: int,
        data: Mapping[str, Any] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(data)
        self.understood = understood
        self.initial = {name: answers.get(name, "") for name in ("ratings", "borderline",
                        "positions", "group")} | {"seen": seen}  # fmt: skip
        self.choices: list[str] = []
        self._ask(answers)
        if seen:
            self.fields["reason"] = PlainText(
                label=_("Why it is settled anew"), max_length=300, help_text=REASON_HELP
            )
        self.has_columns = understood.kind in ("long", "wide")
        if self.has_columns:
            self._add_columns()

    def _ask(self, answers: Answers) -> None:
        """A choice for each question that has answers, and for each that was answered before."""
        asked = {t.option: t for t in self.understood.asked if t.answers}
        given = {n: answers[n] for n in TITLES if answers.get(n) and n not in asked}
        for name in TITLES:
            if name not in asked and name not in given:
                continue
            found = asked[name].answers if name in asked else _known_answers(name, given[name])
            pairs = [(one, WORDS_OF_ANSWERS.get((name, one), one)) for one in found]
            self.fields[name] = forms.ChoiceField(
                label=TITLES[name], choices=pairs, widget=forms.RadioSelect,
                initial=answers.get(name),
            )  # fmt: skip
            self.choices.append(name)

    # ------------------------------------------------------------ columns

    def _add_columns(self) -> None:
        u = self.understood
        headings = [(c.heading, c.heading) for c in u.columns]
        none = [("", "none"), *headings]
        for role in (*FOR_ALL, *(OF_A_MARK if u.kind == "long" else ())):
            self.fields[f"role-{role}"] = forms.ChoiceField(
                label=ROLE_NAMES[role], required=role in ("student", "mark", "station"),
                choices=headings if role == "student" else none, initial=u.roles.get(role, ""),
            )  # fmt: skip
        if u.kind == "wide":
            self._add_stations(none)
        self.fields["maximum"] = PlainText(
            label=_("Most a mark can be"), required=u.kind == "long", max_length=300,
            help_text=_("A number for all, a heading, or each: every mark brings its own (14/20, "
            "72%)."), initial="" if u.maximum == "?" or "|" in u.maximum else u.maximum,
        )  # fmt: skip
        examiner = "" if u.examiner == "none" or "|" in u.examiner else u.examiner
        self.fields["examiner"] = forms.ChoiceField(
            label=_("Examiner"), required=False, choices=none, initial=examiner
        )
        self.fields["left"] = PlainText(
            label=_("Rows that are no students"), required=False, max_length=300,
            help_text=_("Totals and maxima, as 4,19."), initial=",".join(map(str, u.left)),
        )  # fmt: skip

    def _add_stations(self, none: list[tuple[str, str]]) -> None:
        known = {s.heading: s for s in self.understood.stations}
        for column in self.understood.columns:
            s, k = known.get(column.heading), column.place
            self.fields[f"station-{k}"] = forms.BooleanField(
                required=False, initial=s is not None, label=f"{column.heading} is a station"
            )
            self.fields[f"most-{k}"] = PlainText(
                required=False, max_length=12, initial=s.maximum if s else "",
                label=f"Most at {column.heading}",
            )  # fmt: skip
            for part, name in (("rating", "Rating"), ("examiner", "Examiner")):
                self.fields[f"{part}-{k}"] = forms.ChoiceField(
                    required=False, choices=none, initial=getattr(s, part, ""),
                    label=f"{name} at {column.heading}",
                )  # fmt: skip

    @property
    def station_rows(self) -> list[tuple[Any, ...]]:
        """One row for each column that can be a station: column, tick, most, rating, examiner."""
        if self.understood.kind != "wide":
            return []
        taken = {*self.understood.roles.values()}
        parts = ("station", "most", "rating", "examiner")
        return [
            (column, *(self[f"{part}-{column.place}"] for part in parts))
            for column in self.understood.columns
            if column.heading not in taken
            and not column.role.startswith(("rating of", "examiner at"))
        ]

    @property
    def role_fields(self) -> list[Any]:
        """The fields of the columns that every sheet needs."""
        names = (*(f"role-{role}" for role in MAIN_ROLES), "maximum", "examiner", "left")
        return [self[name] for name in names if name in self.fields]

    @property
    def other_role_fields(self) -> list[Any]:
        """The fields of the columns that some sheets have."""
        return [self[f"role-{role}"] for role in (*FOR_ALL, *OF_A_MARK)
                if role not in MAIN_ROLES and f"role-{role}" in self.fields]  # fmt: skip

    @property
    def asked_fields(self) -> list[tuple[Any, Any]]:
        """The choices, each with the question it answers (None where it was answered before)."""
        told = {t.option: t for t in self.understood.asked}
        return [(self[name], told.get(name)) for name in self.choices]

    @property
    def scale_fields(self) -> list[Any]:
        """The words of the rating and what goes with them."""
        return [self[name] for name in ("ratings", "borderline", "positions", "group")]

    @property
    def asks_for_words(self) -> bool:
        """Whether words of the rating are asked for."""
        return any(t.option == "ratings" for t in self.understood.asked)

    def answers(self, before: Answers) -> Answers:
        """The answers by option; UserError for headings that cannot be told."""
        got = self.cleaned_data
        names = ("ratings", "borderline", "positions", "group", *self.choices)
        found = {name: got.get(name, "") for name in names}
        if self.has_columns:
            found["columns"] = self._chosen().words()
        kept = {n: v for n, v in before.items() if n not in found}
        return kept | {n: v for n, v in found.items() if v}

    def _chosen(self) -> ChosenColumns:
        got = self.cleaned_data
        roles = {name.removeprefix("role-"): value for name, value in got.items()
                 if name.startswith("role-")}  # fmt: skip
        stations = [
            ChosenStation(c.heading, got[f"most-{c.place}"], got[f"rating-{c.place}"],
                          got[f"examiner-{c.place}"])
            for c in self.understood.columns if got.get(f"station-{c.place}")
        ]  # fmt: skip
        return ChosenColumns(roles, tuple(stations), got["maximum"], got["examiner"], got["left"])


def _known_answers(name: str, given: str) -> tuple[str, ...]:
    """The answers that a question has, where it is not asked any more."""
    return tuple(one for of, one in WORDS_OF_ANSWERS if of == name) or (str(given),)


# ---------------------------------------------------------------- rules


class RulesForm(forms.Form):
    """The rules in force, and what is left out; every change needs a reason."""

    seen = forms.IntegerField(widget=forms.HiddenInput)
    method = forms.ChoiceField(label=_("What sets the pass mark"), choices=METHODS)
    pass_mark = _text("Carried forward", "pass_mark")
    hofstee = _text("Hofstee", "hofstee")
    add_sem = _text("Added to the mark", "add_sem")
    stations_to_pass = _text("Least number of stations", "stations_to_pass")
    critical = forms.ChoiceField(
        label=_("A critical error"), widget=forms.RadioSelect,
        choices=[("hold", "is held for the board"), ("fail", "fails the student")],
    )  # fmt: skip
    look_again = _text("Another look", "look_again")
    recall = _text("More stations for those near the mark", "recall")
    without = forms.MultipleChoiceField(
        label=_("Stations left out"), required=False, widget=forms.CheckboxSelectMultiple
    )
    leave_out = _text("Rows left out", "leave_out")
    reason = PlainText(label=_("Reason"), max_length=300, help_text=REASON_HELP)

    def __init__(
        self, stations: tuple[str, ...], answers: Answers, seen: int,
        data: Mapping[str, Any] | None = None,
    ) -> None:  # fmt: skip
        super().__init__(data)
        gone = [name for name in answers.get("without", []) if name not in stations]
        field = self.fields["without"]
        assert isinstance(field, forms.MultipleChoiceField)
        field.choices = [(name, name) for name in (*stations, *gone)]
        start = {"method": METHODS[0][0], "critical": "hold", "seen": seen}
        self.initial = start | {n: v for n, v in answers.items() if n in self.fields}

    def answers(self, before: Answers) -> Answers:
        """The answers by option, over those that held before."""
        names = [name for name in self.fields if name not in ("seen", "reason")]
        got = {name: self.cleaned_data[name] for name in names}
        kept = {n: v for n, v in before.items() if n not in got}
        return kept | {n: v for n, v in got.items() if v}
