"""What the columns of a sheet seem to be: a proposal, to be confirmed and never acted on unasked.

A long sheet has a row for each mark, a wide one a row for each student and a column for each
station. Titles above, a second heading row under merged cells, a row of maxima and rows of totals
are found and named in the proposal.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

from sidewise.teaching.tables.cell_values import looks_like_mark, mark_cell
from sidewise.teaching.tables.heading_words import (
    MADE_WORDS,
    MAXIMUM_WORDS,
    TOTAL_WORDS,
    meaning_of,
    plain_words,
)
from sidewise.teaching.tables.sheet_grid import Grid
from sidewise.teaching.tables.table_files import NoLayout

Kind = Literal["long", "wide"]

SEARCHED = 15
MOST_MARKS_CHECKED = 200
_IN_HEADING = re.compile(r"\s*[(\[]?\s*(?:max\.?|out of|/)\s*(\d+(?:[.,]\d+)?)\s*[)\]]?\s*$", re.I)
_NUMBER_ONLY = re.compile(r"\s*[(\[]\s*(\d+(?:[.,]\d+)?)\s*[)\]]\s*$")
_SEPARATOR = " / "


@dataclass(frozen=True, slots=True)
class StationColumn:
    """One station of a wide sheet: its columns (places from 0) and the most it can give."""

    station: str
    mark: int
    rating: int | None = None
    examiner: int | None = None
    maximum: float | None = None


@dataclass(frozen=True, slots=True)
class SheetLayout:
    """A proposal: the heading row (from 1), what columns are, rows that are no students.

    `columns` maps a meaning to a column's place; `stations` are those of a wide sheet; `maximum`
    is one for all marks, `own_maxima` that each mark brings its own (14/20, 72%); `no_examiner`
    that nobody is named; `left` are rows left out (totals,
    maxima); `first` is the first row of marks.
    """

    kind: Kind
    headings: tuple[str, ...]
    heading_row: int
    first: int
    columns: dict[str, int] = field(default_factory=dict)
    stations: tuple[StationColumn, ...] = ()
    maximum: float | None = None
    own_maxima: bool = False
    no_examiner: bool = False
    left: tuple[int, ...] = ()


def proposed_layout(grid: Grid) -> SheetLayout:
    """The likeliest reading of a sheet. UserError when no row looks like headings."""
    at = _heading_row(grid)
    headings, first = _headings(grid, at)
    columns = _meanings(headings)
    body = range(first, len(grid.rows))
    if "student" not in columns:
        raise NoLayout(
            f"{grid.name}: headings", ", ".join(h for h in headings if h)[:200],
            "a column of students", "Say which it is: --columns 'student=HEADING; ...'.",
        )  # fmt: skip
    base = SheetLayout("long", headings, at + 1, first, columns)
    base = replace(base, left=tuple(r + 1 for r in body if _is_no_student(grid.rows[r], columns)))
    if "mark" in columns and "station" in columns:
        return _with_maxima(grid, replace(base, no_examiner="examiner" not in columns))
    return _with_maxima(grid, _wide(grid, base))


def _with_maxima(grid: Grid, layout: SheetLayout) -> SheetLayout:
    """Whether every mark typed brings its own maximum."""
    places = [s.mark for s in layout.stations] or [layout.columns["mark"]]
    cells = [mark_cell(row[p]) for row in _body(grid, layout) for p in places]
    marks = [cell for cell in cells if cell.text]
    own = bool(marks) and all(cell.maximum is not None for cell in marks)
    return replace(layout, own_maxima=own)


def _heading_row(grid: Grid) -> int:
    """The row with most known headings and most columns filled below it."""
    scores = [_heading_score(grid, i) for i in range(min(SEARCHED, len(grid.rows)))]
    return max(range(len(scores)), key=lambda i: (scores[i], -i))


def _heading_score(grid: Grid, i: int) -> int:
    row = grid.rows[i]
    known = len({meaning_of(cell) for cell in row} - {""})
    words = sum(bool(cell) and not looks_like_mark(cell) for cell in row)
    below = grid.rows[i + 1 : i + 6]
    filled = sum(bool(cell) and any(r[k] for r in below) for k, cell in enumerate(row))
    return 4 * known + words + filled if words > 1 else 0


def _headings(grid: Grid, at: int) -> tuple[tuple[str, ...], int]:
    """Headings, joined over two rows where a second one stands under merged cells, and the first
    row below them (from 0)."""
    row = grid.rows[at]
    if at and _is_second(grid.rows[at - 1], row):
        return _joined(grid.rows[at - 1], row), at + 1
    below = grid.rows[at + 1] if at + 1 < len(grid.rows) else ()
    if below and _is_second(row, below):
        return _joined(row, below), at + 2
    return row, at + 1


def _is_second(upper: Sequence[str], lower: Sequence[str]) -> bool:
    """Whether `lower` repeats words such as mark and rating under fewer names in `upper`."""
    words = [plain_words(cell) for cell in lower if cell]
    repeated = any(words.count(w) > 1 and meaning_of(w) in ("mark", "global_rating") for w in words)
    return repeated and sum(map(bool, upper)) > 1 and not any(map(looks_like_mark, words))


def _joined(upper: Sequence[str], lower: Sequence[str]) -> tuple[str, ...]:
    out, current = [], ""
    for above, below in zip(upper, lower, strict=True):
        current = above or current
        alone = not below or meaning_of(current) == "student"
        out.append((current or below) if alone else
                   below if not current or meaning_of(below) == "student"
                   else f"{current}{_SEPARATOR}{below}")  # fmt: skip
    return tuple(out)


def _meanings(headings: Sequence[str]) -> dict[str, int]:
    """The first column of each meaning; comments and names are nobody's business here."""
    found: dict[str, int] = {}
    for place, heading in enumerate(headings):
        role = meaning_of(heading)
        if role:
            found.setdefault(role, place)
    return found


def _is_no_student(row: Sequence[str], columns: dict[str, int]) -> bool:
    """A row of totals or maxima, or one without a student."""
    student = row[columns["student"]]
    if not student:
        return True
    return plain_words(student) in TOTAL_WORDS | MAXIMUM_WORDS


# ---------------------------------------------------------------- wide sheets


def _wide(grid: Grid, base: SheetLayout) -> SheetLayout:
    maxima = _maxima_row(grid, base)
    used = set(base.columns.values())
    stations = [
        _station(base, place, maxima)
        for place, heading in enumerate(base.headings)
        if heading and place not in used and _is_station(grid, base, place)
    ]
    stations = [_with_rating(base, s) for s in stations]
    ratings = {s.rating for s in stations}
    stations = [s for s in stations if s.mark not in ratings]
    if len(stations) < 2:
        raise NoLayout(
            f"{grid.name}: headings", ", ".join(h for h in base.headings if h)[:200],
            "a column of stations and one of marks, or a column of marks for each station",
            "Say which they are with --columns; see docs/marks.md.",
        )  # fmt: skip
    named = "examiner" in base.columns or any(s.examiner is not None for s in stations)
    return replace(base, kind="wide", stations=tuple(stations), no_examiner=not named)


def _body(grid: Grid, base: SheetLayout) -> list[tuple[str, ...]]:
    return [row for i, row in enumerate(grid.rows[base.first :], base.first + 1)
            if i not in base.left][:MOST_MARKS_CHECKED]  # fmt: skip


def _is_station(grid: Grid, base: SheetLayout, place: int) -> bool:
    """A column of marks: most filled cells are numbers, and the heading is no sum of others."""
    if plain_words(base.headings[place]) in MADE_WORDS:
        return False
    tail = base.headings[place].split(_SEPARATOR)[-1]
    if _SEPARATOR in base.headings[place] and meaning_of(tail) not in ("mark", ""):
        return False
    cells = [row[place] for row in _body(grid, base) if row[place]]
    marks = sum(looks_like_mark(cell) for cell in cells)
    return bool(cells) and marks >= 0.6 * len(cells) and marks > 0


def _maxima_row(grid: Grid, base: SheetLayout) -> Sequence[str]:
    for row in grid.rows[base.first :]:
        if plain_words(row[base.columns["student"]]) in MAXIMUM_WORDS:
            return row
    return ()


def _station(base: SheetLayout, place: int, maxima: Sequence[str]) -> StationColumn:
    heading = base.headings[place].split(_SEPARATOR)[0]
    found = _IN_HEADING.search(heading) or _NUMBER_ONLY.search(heading)
    name = heading[: found.start()].strip() if found else heading
    text = maxima[place] if maxima else found[1] if found else ""
    try:
        most = float(text.replace(",", ".")) if text else None
    except ValueError:
        most = None
    return StationColumn(name or heading, place, maximum=most)


def _with_rating(base: SheetLayout, s: StationColumn) -> StationColumn:
    """The columns of the same station's rating and examiner, by their headings."""
    own = plain_words(s.station)
    rating = examiner = None
    for place, heading in enumerate(base.headings):
        words = plain_words(heading.replace(_SEPARATOR, " "))
        rest = words.removeprefix(own).strip() if words.startswith(own) else ""
        if place == s.mark or not rest:
            continue
        role = "global_rating" if rest == "grade" else meaning_of(rest)
        rating = place if role == "global_rating" else rating
        examiner = place if role == "examiner" else examiner
    return replace(s, rating=rating, examiner=examiner)
