"""What is asked of a table of marks: the options of `sidewise marks`, for command and page alike.

One value says how a sheet is to be read (what was proposed and settled) and how it is to be judged
(the rules in force, what was left out). From the same table and the same value comes the same
report, wherever it was asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sidewise.errors import UserError
from sidewise.teaching.pass_marks.judged import Angoff, Ebel
from sidewise.teaching.sitting.moderation import moderated
from sidewise.teaching.sitting.option_words import OPTION_WORDS
from sidewise.teaching.sitting.options import (
    SittingOptions,
    chosen_method,
    critical_rule,
    further_stations,
    hofstee_box,
    row_numbers,
)
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.columns import RatingScale, rating_scale
from sidewise.teaching.tables.grid_marks import grid_table
from sidewise.teaching.tables.marks_table import Marks, marks_from_cells, read_marks
from sidewise.teaching.tables.plausible import codes_answer, zeros_answer
from sidewise.teaching.tables.sheet_grid import Grid

Source = Path | str | Grid


@dataclass(frozen=True, slots=True)
class JudgesTables:
    """What judges said of the items, each in a file: Angoff's table, and the two of Ebel."""

    angoff: Path | None = None
    ebel: Path | None = None
    ebel_shares: Path | None = None

    def read(self, marks: Marks) -> tuple[Angoff | None, Ebel | None]:
        """Both for these marks; UserError where one of Ebel's two tables is missing."""
        from sidewise.teaching.pass_marks.judges_table import read_angoff, read_ebel

        angoff = read_angoff(self.angoff, marks) if self.angoff else None
        if self.ebel is None and self.ebel_shares is None:
            return angoff, None
        if self.ebel is None or self.ebel_shares is None:
            raise UserError(
                "ebel", "one of the two tables", "both --ebel FILE and --ebel-shares FILE",
                "The first places items, the second says what is expected of each place.",
            )  # fmt: skip
        return angoff, read_ebel(self.ebel, self.ebel_shares, marks)


NO_JUDGES = JudgesTables()


@dataclass(frozen=True, slots=True)
class MarksRequest:
    """The options of `sidewise marks`, as typed; each is explained in `OPTION_WORDS`."""

    columns: str | None = None
    zeros: str = "ask"
    codes: str = "ask"
    sitting: str | None = None
    leave_out: str | None = None
    group: str | None = None
    without: tuple[str, ...] = ()
    ratings: str | None = None
    borderline: str | None = None
    ratings_from: int | None = None
    positions: str | None = None
    method: str = "borderline regression"
    add_sem: float = 0.0
    stations_to_pass: int = 0
    hofstee: str | None = None
    critical: str = "hold"
    look_again: float | None = None
    pass_mark: float | None = None
    recall: int = 0
    by: str = ""
    draws: int = 2000

    @property
    def scale(self) -> RatingScale:
        """The scale of ratings; UserError where there is none such."""
        return rating_scale(self.ratings, self.borderline, self.ratings_from, self.positions)

    def marks(self, source: Source) -> Marks:
        """The table read whole; a `SheetQuestion` where something is to be settled first."""
        how: dict[str, Any] = {
            "scale": self.scale, "leave_out": row_numbers(self.leave_out), "sitting": self.sitting,
            "zeros": zeros_answer(self.zeros), "alike": codes_answer(self.codes),
        }  # fmt: skip
        if isinstance(source, Grid):
            raw = grid_table(source, self.columns)
            return marks_from_cells(raw, group=self.group, **how)
        return read_marks(source, group=self.group, columns=self.columns, **how)

    def options(self, angoff: Angoff | None = None, ebel: Ebel | None = None) -> SittingOptions:
        """The rules, checked; UserError for one that cannot be in force."""
        return SittingOptions(
            method=chosen_method(self.method, self.pass_mark),
            add_sem=self.add_sem,
            stations_to_pass=self.stations_to_pass,
            without=self.without,
            draws=self.draws,
            angoff=angoff,
            ebel=ebel,
            hofstee=hofstee_box(self.hofstee) if self.hofstee else None,
            carried=self.pass_mark,
            critical=critical_rule(self.critical),
            look_again=self.look_again,
        )

    def analysed(self, source: Source, judges: JudgesTables = NO_JUDGES) -> Sitting:
        """The whole analysis, with the log of what was left out where something was."""
        marks = self.marks(source)
        result = analyse_sitting(marks, self.options(*judges.read(marks)))
        if self.without or marks.left_out:
            result = moderated(replace(self, leave_out=None).marks(source), result, self.by)
        return result


NUMBERS: dict[str, type[int] | type[float]] = {
    "ratings_from": int, "stations_to_pass": int, "recall": int, "draws": int, "add_sem": float,
    "look_again": float, "pass_mark": float,
}  # fmt: skip


def request_from_words(words: Mapping[str, Any]) -> MarksRequest:
    """The request from what was typed, by option; an empty text is an option not given.

    UserError for an option that there is not, and for a number that is none.
    """
    given: dict[str, Any] = {}
    for name, value in words.items():
        if name not in OPTION_WORDS:
            raise UserError("options", name, f"one of: {', '.join(OPTION_WORDS)}", "")
        if name == "without":
            given[name] = tuple(map(str, value))
        elif str(value).strip():
            given[name] = _typed(name, str(value).strip())
    return MarksRequest(**given)


def _typed(name: str, text: str) -> str | int | float:
    kind = NUMBERS.get(name)
    if kind is None:
        return text
    try:
        return kind(text.replace(",", "."))
    except ValueError:
        what = "a whole number" if kind is int else "a number"
        raise UserError(name.replace("_", "-"), text, what, OPTION_WORDS[name]) from None


def check_rules(words: Mapping[str, Any]) -> None:
    """UserError for rules that cannot be in force, whatever the table."""
    asked = request_from_words(words)
    asked.options()
    further_stations(asked.recall)
    row_numbers(asked.leave_out)
