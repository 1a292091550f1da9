"""What a sheet was understood to be, what is asked, and what is wrong with it: all in one look.

Reading stops at the first thing that is to be asked. Here it goes on as if the likeliest answer had
been given, so that everything can be asked at once; nothing is settled by that.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sidewise.errors import UserError, UserErrors, short_text
from sidewise.teaching.sitting.request import request_from_words
from sidewise.teaching.tables.grid_marks import grid_layout
from sidewise.teaching.tables.marks_table import Marks, what_is_missing
from sidewise.teaching.tables.questions import SheetQuestion
from sidewise.teaching.tables.sheet_columns import layout_words
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.teaching.tables.sheet_layout import SheetLayout
from sidewise.teaching.tables.sheet_reader import NOBODY

SAMPLES, LOOKED_AT = 3, 40
ROUNDS = 8
TRIED = {"columns": "yes", "ratings_from": "1", "codes": "apart", "zeros": "real"}
"""Answers with which reading goes on, to see what else is asked."""


@dataclass(frozen=True, slots=True)
class Told:
    """An error or a question in its four parts; `option` and `answers` as of a `SheetQuestion`."""

    where: str
    got: str
    expected: str
    do: str
    option: str = ""
    answers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class SeenColumn:
    """One column: its place (from 0), heading, what it is taken for ("" nothing), some cells."""

    place: int
    heading: str
    role: str
    samples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SeenStation:
    """A station of a wide sheet: the heading of its marks, of its rating and examiner ("" none),
    and the most it can give ("" not known)."""

    heading: str
    name: str
    rating: str
    examiner: str
    maximum: str


@dataclass(frozen=True, slots=True)
class SheetUnderstood:
    """A sheet as it was understood under some answers.

    `kind` is "own" for our headings, "long" for a row a mark, "wide" for a row a student. `words`
    is the layout as `--columns` takes it, `roles` each meaning with its heading. `asked` is open;
    `faults` refuse the sheet, or would if `asked` were answered as proposed. `counts` and `said`
    are of the table as it would be read; `settled` that nothing is asked and nothing wrong.
    """

    kind: str
    words: str
    heading_row: int
    left: tuple[int, ...]
    columns: tuple[SeenColumn, ...]
    stations: tuple[SeenStation, ...]
    roles: dict[str, str]
    maximum: str
    examiner: str
    asked: tuple[Told, ...]
    faults: tuple[Told, ...]
    counts: tuple[str, ...]
    said: tuple[str, ...]
    names: tuple[str, ...]

    @property
    def settled(self) -> bool:
        """Whether the table can be analysed as it stands."""
        return not self.asked and not self.faults


def told_of(error: UserError) -> tuple[Told, ...]:
    """The parts of an error, or of each of several."""
    each = error.errors if isinstance(error, UserErrors) else [error]
    return tuple(_told(one) for one in each[: UserErrors.LIMIT])


def _told(e: UserError) -> Told:
    option, answers = (e.option, e.answers) if isinstance(e, SheetQuestion) else ("", ())
    return Told(e.where, short_text(e.got), e.expected, e.do, option, answers)


def understand_sheet(grid: Grid, words: Mapping[str, Any]) -> SheetUnderstood:
    """Everything that is seen, asked and wrong under these answers (options as typed).

    UserError where not even a layout can be seen, or an answer is none.
    """
    columns = words.get("columns") or None
    layout = grid_layout(grid, columns)
    marks, asked, faults = _tried(grid, words)
    roles, stations = _roles(layout), _stations(layout)
    return SheetUnderstood(
        kind="own" if layout is None else layout.kind,
        words="" if layout is None else layout_words(layout),
        heading_row=1 if layout is None else layout.heading_row,
        left=() if layout is None else layout.left,
        columns=_columns(grid, layout),
        stations=stations,
        roles=roles,
        maximum=_part(layout, "maximum"),
        examiner=_part(layout, "examiner"),
        asked=asked,
        faults=faults,
        counts=() if marks is None else _counts(marks),
        said=() if marks is None else (*marks.warnings, *what_is_missing(marks.table)),
        names=() if marks is None else tuple(map(str, marks.table["station"].unique())),
    )


def _tried(
    grid: Grid, words: Mapping[str, Any]
) -> tuple[Marks | None, tuple[Told, ...], tuple[Told, ...]]:
    """The table if it can be read with the likeliest answers; what was asked on the way; faults."""
    trial = dict(words)
    asked: dict[Told, None] = {}
    for _ in range(ROUNDS):
        try:
            marks = request_from_words(trial).marks(grid)
            if len(sittings := tuple(map(str, marks.table["sitting"].unique()))) > 1:
                raise _which_sitting(sittings)
        except UserError as error:
            told = told_of(error)
        else:
            return marks, tuple(asked), ()
        asked.update(dict.fromkeys(t for t in told if t.option))
        more = {t.option: _likeliest(t) for t in told if t.option and not trial.get(t.option)}
        faults = tuple(t for t in told if not t.option)
        if faults or not any(more.values()):
            return None, tuple(asked), faults
        trial |= {option: answer for option, answer in more.items() if answer}
    return None, tuple(asked), ()


def _likeliest(told: Told) -> str:
    return TRIED.get(told.option) or (told.answers[0] if told.option == "sitting" else "")


def _which_sitting(names: tuple[str, ...]) -> SheetQuestion:
    return SheetQuestion(
        "sitting", f"{len(names)} sittings ({', '.join(names[:6])})", "one sitting at a time",
        "Choose one with --sitting.", "sitting", names,
    )  # fmt: skip


def _counts(marks: Marks) -> tuple[str, ...]:
    t = marks.table
    nobody = "no examiner recorded" if (t["examiner"] == NOBODY).all() else ""
    return (
        f"{t['student'].nunique():,} students", f"{t['station'].nunique():,} stations",
        nobody or f"{t['examiner'].nunique():,} examiners", f"{len(t):,} marks",
        f"{int(t['mark'].isna().sum()):,} marks missing",
        f"{int(t['global_rating'].notna().sum()):,} with a global rating",
    )  # fmt: skip


# ---------------------------------------------------------------- columns


def _heading(layout: SheetLayout, place: int | None) -> str:
    return "" if place is None else layout.headings[place]


def _roles(layout: SheetLayout | None) -> dict[str, str]:
    if layout is None:
        return {}
    return {role: layout.headings[place] for role, place in layout.columns.items()}


def _stations(layout: SheetLayout | None) -> tuple[SeenStation, ...]:
    return () if layout is None else tuple(
        SeenStation(
            layout.headings[s.mark], s.station, _heading(layout, s.rating),
            _heading(layout, s.examiner), "" if s.maximum is None else f"{s.maximum:g}",
        )
        for s in layout.stations
    )  # fmt: skip


def _part(layout: SheetLayout | None, key: str) -> str:
    """What stands for this part in the words of the layout."""
    if layout is None:
        return ""
    parts = dict(part.split("=", 1) for part in layout_words(layout).split("; ") if "=" in part)
    return parts.get(key, "")


def _columns(grid: Grid, layout: SheetLayout | None) -> tuple[SeenColumn, ...]:
    headings = grid.rows[0] if layout is None else layout.headings
    first = 1 if layout is None else layout.first
    left = () if layout is None else layout.left
    taken = {} if layout is None else _taken(layout)
    return tuple(
        SeenColumn(
            k, heading, heading if layout is None else taken.get(k, ""),
            _samples(grid, first, left, k),
        )
        for k, heading in enumerate(headings) if heading
    )  # fmt: skip


def _taken(layout: SheetLayout) -> dict[int, str]:
    taken = {place: role.replace("_", " ") for role, place in layout.columns.items()
             if role != "comment"}  # fmt: skip
    for s in layout.stations:
        taken[s.mark] = f"marks of {s.station}"
        if s.rating is not None:
            taken[s.rating] = f"rating of {s.station}"
        if s.examiner is not None:
            taken[s.examiner] = f"examiner at {s.station}"
    return taken


def _samples(grid: Grid, first: int, left: tuple[int, ...], place: int) -> tuple[str, ...]:
    rows = enumerate(grid.rows[first : first + LOOKED_AT], first + 1)
    cells = (row[place] for number, row in rows if row[place] and number not in left)
    return tuple(dict.fromkeys(cells))[:SAMPLES]
