"""Paper mark sheets, typed back into the table that the analysis of marks reads.

An entry table has a row for each sheet and a column for each step. In a box stands 2 (done fully),
1 (partly) or 0 (not done). An empty box is a mark that is missing, never a zero.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from sidewise.errors import UserError, UserErrors
from sidewise.ground.tables import FIRST_LINE, parse_table, safe_cell
from sidewise.teaching.stations.station import Answer, SheetStep, Station

ABOUT = ("circuit", "session", "examiner", "student")
"""Columns before the steps, as they stand at the head of a sheet."""
AFTER = ("rating", "critical", "comment")
CODES: dict[str, Answer] = {"2": "fully", "1": "partly", "0": "none"}
MARK_COLUMNS = ("sitting", "circuit", "session", "student", "station", "examiner", "item", "mark",
                "maximum", "global_rating", "critical_error", "comment", "domain",
                "stage")  # fmt: skip
MarkRow = dict[str, str]
"""One row of the long table of marks: a cell for each of MARK_COLUMNS."""


def entry_columns(station: Station) -> tuple[str, ...]:
    """The headings of the entry table of a station."""
    return (*ABOUT, *(step.id for step in station.steps), *AFTER)


def entry_table(station: Station, rows: Sequence[Sequence[str]] = ()) -> str:
    """An entry table as CSV. rows: what is known of the sheets, in the order of ABOUT."""
    blank = [""] * (len(station.steps) + len(AFTER))
    return _csv([entry_columns(station), *([*row, *blank] for row in rows)])


@dataclass(frozen=True, slots=True)
class TypedSheets:
    """What was typed from paper: rows of the long table, and what to take care of."""

    rows: tuple[MarkRow, ...]
    sheets: int
    warnings: tuple[str, ...]


def typed_sheets(
    station: Station, text: str, name: str, *, sitting: str = "1",
    students: Collection[str] | None = None,
) -> TypedSheets:  # fmt: skip
    """Rows of marks from an entry table. UserErrors with every cell that cannot be read.

    name: of the file. students: numbers that there are, where they are known.
    """
    table = parse_table(text.removeprefix("\ufeff"), name)
    heads = _headings(text)
    if set(heads) != set(entry_columns(station)) or len(heads) != len(set(heads)):
        raise UserError(f"{name}: line 1", ", ".join(heads) or "nothing",
                        f"the columns {', '.join(entry_columns(station))}",
                        "Write the entry table of this version of the station anew.")  # fmt: skip
    faults: list[UserError] = []
    sheets = [
        _Sheet(station, cells, f"{name}: line {number}", faults)
        for number, cells in enumerate(table, start=FIRST_LINE)
        if any(cells.values())
    ]
    _check_codes(sheets, students, faults)
    if faults:
        raise UserErrors(faults)
    rows = [row for sheet in sheets for row in sheet.rows(sitting)]
    return TypedSheets(tuple(rows), len(sheets), tuple(_warnings(sheets)))


def marks_csv(rows: Sequence[MarkRow]) -> str:
    """The long table of marks as CSV, as `sidewise marks` reads it."""
    return _csv([MARK_COLUMNS, *([row[c] for c in MARK_COLUMNS] for row in rows)])


class _Sheet:
    """One paper sheet: its cells, and what is wrong with them put to `faults`."""

    def __init__(
        self, station: Station, cells: MarkRow, place: str, faults: list[UserError]
    ) -> None:
        self.station, self.cells, self.place, self.faults = station, cells, place, faults
        self.key = (cells["student"], cells["examiner"])
        for column in ("student", "examiner"):
            if not cells[column]:
                faults.append(UserError(f"{place}, {column}", None, f"the {column}"))
        self.answers = [self._answer(step) for step in station.steps]
        self.rating = self._rating()
        self.critical = self._critical()

    def _answer(self, step: SheetStep) -> Answer | None:
        cell = self.cells[step.id].casefold()
        if not cell:
            return None
        spoken = {word.casefold(): key for key, word in step.words.items()}
        boxes = {code: key for code, key in CODES.items() if key in step.words}
        if (found := (boxes | spoken).get(cell)) is None:
            self.faults.append(
                UserError(f"{self.place}, {step.id}", self.cells[step.id],
                          " or ".join(f"{code} ({step.words[key]})" for code, key in boxes.items()),
                          "Leave the cell empty if nothing was marked.")
            )  # fmt: skip
        return found

    def _rating(self) -> str:
        cell, words = self.cells["rating"], self.station.rating.words
        found = {word.casefold(): word for word in words}.get(cell.casefold(), "")
        if cell and not found:
            self.faults.append(
                UserError(f"{self.place}, rating", cell, f"one of {', '.join(words)}")
            )
        return found

    def _critical(self) -> bool:
        cell = self.cells["critical"].casefold()
        if cell not in ("", "no", "yes"):
            self.faults.append(
                UserError(f"{self.place}, critical", self.cells["critical"], "yes, or nothing")
            )
        return cell == "yes"

    def rows(self, sitting: str) -> Iterator[MarkRow]:
        """The rows of the long table."""
        cells = self.cells
        for step, answer in zip(self.station.steps, self.answers, strict=True):
            yield {
                "sitting": sitting,
                **{name: safe_cell(cells[name]) for name in ("student", "examiner", "comment")},
                "circuit": safe_cell(cells["circuit"]) or "1",
                "session": safe_cell(cells["session"]) or "1",
                "station": self.station.id,
                "item": step.id,
                "mark": "" if answer is None else f"{step.points(answer):g}",
                "maximum": f"{step.weight:g}",
                "global_rating": self.rating,
                "critical_error": "yes" if self.critical else "",
                "domain": safe_cell(self.station.domain),
                "stage": safe_cell(step.stage),
            }


def _check_codes(
    sheets: Sequence[_Sheet], students: Collection[str] | None, faults: list[UserError]
) -> None:
    first: dict[tuple[str, str], str] = {}
    for sheet in sheets:
        student, examiner = sheet.key
        if sheet.key in first:
            faults.append(
                UserError(f"{sheet.place}, student", f"{student} by {examiner} a second time",
                          f"once ({first[sheet.key]})", "One of the two is another student's.")
            )  # fmt: skip
        first.setdefault(sheet.key, sheet.place)
        if student and students is not None and student not in students:
            faults.append(UserError(f"{sheet.place}, student", student, "a number of this sitting",
                                    "Look at the sheet again."))  # fmt: skip


def _warnings(sheets: Sequence[_Sheet]) -> Iterator[str]:
    blank = sum(answer is None for sheet in sheets for answer in sheet.answers)
    if blank:
        yield f"{blank} boxes are empty: those marks are missing, and none is read as zero."
    unrated = [sheet.key[0] for sheet in sheets if not sheet.rating]
    if unrated:
        yield f"No global rating: {', '.join(unrated[:8])}{' ...' if len(unrated) > 8 else ''}."
    zero = [s.key[0] for s in sheets if s.answers and all(a == "none" for a in s.answers)]
    if zero:
        yield (
            f"Every box is 0: {', '.join(zero[:8])}. If the student was absent, delete the row: "
            "an absence is no zero."
        )


def _headings(text: str) -> list[str]:
    """The first line, which `parse_table` has read as a whole before."""
    lines = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    return [head.strip() for head in next(lines, [])]


def _csv(rows: Sequence[Sequence[str]]) -> str:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue()
