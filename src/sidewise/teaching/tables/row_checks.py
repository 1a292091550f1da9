"""The checks of single rows and of rows against each other, each naming row and column."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from sidewise.errors import UserError, UserErrors
from sidewise.teaching.tables.columns import BLANKS
from sidewise.teaching.tables.questions import SheetQuestion

if TYPE_CHECKING:
    import pandas as pd

CELL = ("sitting", "student", "station", "examiner")

_DATES = re.compile(
    r"\d{4}-\d\d-\d\d([ T].*)?|\d{1,2}-[A-Za-z]{3}(-\d{2,4})?|[A-Za-z]{3}-\d{2,4}"
    r"|\d{1,2}[/.]\d{1,2}[/.]\d{2,4}"
)
_CLOCK = re.compile(r"(?P<hour>\d{1,2}):(?P<minute>\d\d)(:(?P<second>\d\d(\.\d+)?))?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+")


def date_like(value: str) -> bool:
    """Whether a cell looks like a date that a spreadsheet made of something else."""
    return _DATES.fullmatch(value.strip()) is not None


@dataclass(slots=True)
class _Fault:
    """One kind of mistake in one column and every row that has it."""

    column: str
    got: object
    expected: str
    do: str
    rows: list[int]
    option: str = ""
    answers: tuple[str, ...] = ()


class Faults:
    """Mistakes and warnings collected over one reading of one table."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.warnings: list[str] = []
        self._found: dict[tuple[str, str, str], _Fault] = {}

    def rows(
        self, rows: Iterable[Any], column: str, got: object, expected: str, do: str = ""
    ) -> None:
        """The same mistake in several rows."""
        for row in rows:
            key = (column, repr(got), expected)
            fault = self._found.setdefault(key, _Fault(column, got, expected, do, []))
            fault.rows.append(int(row))

    def ask(
        self, rows: Iterable[Any], column: str, got: object, expected: str, do: str,
        option: str, answers: tuple[str, ...] = (),
    ) -> None:  # fmt: skip
        """Something in these rows that only a person can say, by this option."""
        self.rows(rows, column, got, expected, do)
        found = self._found.get((column, repr(got), expected))
        if found is not None:
            found.option, found.answers = option, answers

    def cells(self, values: pd.Series[Any], expected: str, do: str = "") -> None:
        """A mistake in each of these cells, shown with its value."""
        for row, value in values.items():
            self.rows([row], str(values.name), value, expected, do)

    def dates(self, values: pd.Series[str]) -> None:
        """Cells that a spreadsheet has turned into dates."""
        do = "A spreadsheet may have turned it into a date: set the column to text, type it again."
        self.cells(values, "a code, not a date", do)

    def raise_all(self) -> None:
        """Raise everything found in the order of the rows, rows with the same mistake together."""
        if self._found:
            found = sorted(self._found.values(), key=lambda fault: min(fault.rows))
            raise UserErrors([self._error(fault) for fault in found])

    def _error(self, fault: _Fault) -> UserError:
        where = f"{self.name}: {_spoken(sorted(fault.rows))}, {fault.column}"
        got = None if fault.got == "" else fault.got
        if fault.option:
            return SheetQuestion(where, got, fault.expected, fault.do, fault.option, fault.answers)
        return UserError(where, got, fault.expected, fault.do)


def _spoken(rows: list[int]) -> str:
    """ "row 7", "rows 22 to 31", "rows 7, 9, 12 and 40 more"."""
    if len(rows) == 1:
        return f"row {rows[0]}"
    if rows[-1] - rows[0] == len(rows) - 1:
        return f"rows {rows[0]} to {rows[-1]}"
    shown = ", ".join(map(str, rows[:6]))
    return f"rows {shown} and {len(rows) - 6:,} more" if len(rows) > 6 else f"rows {shown}"


def trim_text(text: pd.Series[str]) -> pd.Series[str]:
    """The cells without the spaces around them.

    Each different text is looked at once: a cohort's table has a quarter of a million cells in a
    column, and a few thousand texts.
    """
    import pandas as pd

    codes, different = pd.factorize(text)
    trimmed = pd.Series(different, dtype=text.dtype).str.strip()
    if (codes < 0).any():
        return text.str.strip()
    if (trimmed.to_numpy() == np.asarray(different)).all():
        return text
    return pd.Series(trimmed.array.take(codes), index=text.index, name=text.name)


def parse_numbers(
    text: pd.Series[str], faults: Faults, blank: float | None = None
) -> pd.Series[float]:
    """Numbers from text; decimal commas are read and said; blanks become `blank` or missing."""
    import pandas as pd

    values = pd.to_numeric(text, errors="coerce").astype(float)
    doubtful = values.isna() | ~np.isfinite(values)
    if doubtful.any():
        values = values.copy()
        _second_look(text[doubtful], values, faults)
    return values if blank is None else values.fillna(blank)


def _second_look(text: pd.Series[str], values: pd.Series[float], faults: Faults) -> None:
    trimmed = trim_text(text)
    empty = trimmed.str.lower().isin(BLANKS)
    commas = trimmed.str.fullmatch(_DECIMAL_COMMA.pattern)
    values[trimmed.index[empty]] = np.nan
    if commas.any():
        values[trimmed.index[commas]] = trimmed[commas].str.replace(",", ".").astype(float)
        faults.warnings.append(f"{int(commas.sum()):,} decimal commas read in {text.name}.")
    wrong = trimmed[~empty & ~commas]
    dates = wrong[[date_like(value) for value in wrong]]
    faults.cells(dates, "a number, not a date", "A spreadsheet may have changed it: type it again.")
    faults.cells(wrong.drop(dates.index), "a number", "Leave the cell empty if there was no mark.")


def parse_times(text: pd.Series[str], faults: Faults) -> pd.Series[float]:
    """Places in the day: numbers as they are, times of the clock (with or without a date) in
    minutes. All must be written alike, or their order could not be trusted."""
    import pandas as pd

    places = {value: _place(value) for value in text.unique()}
    kinds = pd.Series([place.kind for place in places.values() if place.kind])
    usual = str(kinds.mode().iloc[0]) if len(kinds) else ""
    wrong = [value for value, place in places.items() if place.kind not in ("", usual)]
    if wrong:
        faults.cells(
            text[text.isin(wrong)], "a time such as 09:40, or a number that counts up",
            "Write all times of the column in the same way.",
        )  # fmt: skip
    return text.map({value: place.minutes for value, place in places.items()}).astype(float)


@dataclass(frozen=True, slots=True)
class _Place:
    """How a time is written ("" for blank, "unread" for none that is known) and its place."""

    kind: str
    minutes: float


def _place(value: str) -> _Place:
    trimmed = value.strip().lower()
    if trimmed in BLANKS:
        return _Place("", float("nan"))
    clock = _CLOCK.fullmatch(trimmed)
    if clock and int(clock["hour"]) < 24 and int(clock["minute"]) < 60:
        seconds = float(clock["second"] or 0)
        return _Place("clock", 60.0 * int(clock["hour"]) + int(clock["minute"]) + seconds / 60)
    try:
        return _Place("number", float(trimmed.replace(",", ".")))
    except ValueError:
        pass
    try:
        stamp = datetime.fromisoformat(trimmed).replace(tzinfo=None)
    except ValueError:
        return _Place("unread", float("nan"))
    return _Place("date", (stamp - datetime(1970, 1, 1)).total_seconds() / 60)


def check_table(table: pd.DataFrame, faults: Faults) -> None:
    """Ranges of single cells, then rows against each other."""
    _ranges(table, faults)
    _duplicates(table, faults)
    _one_value(table, ["sitting", "station", "item"], "maximum", faults)
    _one_value(table, ["sitting", "station", "item"], "weight", faults)
    for column in ("global_rating", "circuit", "session", "time"):
        _one_value(table, list(CELL), column, faults)
    _one_value(table, ["sitting", "student"], "group", faults)
    _one_value(table, ["sitting", "station"], "domain", faults)
    _one_value(table, ["sitting", "station", "item"], "stage", faults)
    _one_value(table, ["sitting", "student"], "linking", faults)


def _ranges(table: pd.DataFrame, faults: Faults) -> None:
    mark, maximum, weight = table["mark"], table["maximum"], table["weight"]
    faults.cells(mark[mark < 0], "0 or more", "")
    faults.rows(table.index[maximum.isna()], "maximum", "", "the highest mark of this item")
    faults.cells(maximum[maximum <= 0], "more than 0", "")
    faults.cells(weight[weight < 0], "0 or more", "")
    for row in table.index[mark > maximum]:
        expected = f"0 to {maximum[row]:g}, the maximum"
        faults.rows([row], "mark", float(mark[row]), expected, "Correct the mark or the maximum.")


def _duplicates(table: pd.DataFrame, faults: Faults) -> None:
    key = _codes(table, [*CELL, "item"])
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1]) + 1
    rows = table.index.to_numpy()
    for place in same:
        row, earlier = rows[order[place]], rows[order[place - 1]]
        at = table.loc[row]
        what = f"{at['student']}, {at['station']}, {at['examiner']}, {at['item']} a second time"
        faults.rows(
            [row], "item", what, f"once (row {earlier})", f"Leave one out with --leave-out {row}."
        )


def _one_value(table: pd.DataFrame, by: list[str], column: str, faults: Faults) -> None:
    """Every group must agree on `column`; blanks agree with anything."""
    given = table[column].notna().to_numpy()
    key = _codes(table, by)[given]
    values = table[column].to_numpy()[given]
    group, first = np.unique(key, return_index=True)
    leader = first[np.searchsorted(group, key)]
    clash = np.flatnonzero(values != values[leader])
    rows = table.index.to_numpy()[given]
    for place in clash:
        earlier, got = rows[leader[place]], values[place]
        expected = f"{values[leader[place]]}, as in row {earlier} of the same {by[-1]}"
        do = "One of the two rows is wrong."
        faults.rows([rows[place]], column, _plain(got), expected, do)


def _plain(value: Any) -> Any:
    return float(value) if isinstance(value, float | np.floating) else str(value)


def _codes(table: pd.DataFrame, columns: list[str]) -> Any:
    """One whole number per row that is equal exactly when all the columns are."""
    import pandas as pd

    key = np.zeros(len(table), dtype=np.int64)
    for column in columns:
        codes, seen = pd.factorize(table[column])
        key = key * (len(seen) + 1) + codes
        # Kept small, so that many columns of many values cannot overflow.
        if key.max(initial=0) > 2**40:
            key = pd.factorize(key)[0].astype(np.int64)
    return key
