"""A class's finished cases as a table: one row a case, safe to be opened in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from sidewise.ground.tables import safe_cell
from sidewise.practice.class_figures.one_case import (
    CALLED_FOR,
    NOT_COMPARED,
    SORE,
    WRONG_SIDE,
    PlayedCase,
)

PLAYED_COLUMNS = (
    "simulated", "student", "group", "title", "at", "case", "flags_missed", "brier",
    "brier_of_perfect_reading", "minutes", "soreness", "hints", "not_compared", "wrong_side",
    "sore_for_little", "called_for_left_out", "one_thing",
)  # fmt: skip


def played_table(played: Sequence[PlayedCase]) -> str:
    """The table as CSV, in the order of time."""
    out = io.StringIO()
    # All in quotes: before Python 3.13 a carriage return alone was written without.
    rows = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    rows.writerow(PLAYED_COLUMNS)
    for one in sorted(played, key=lambda case: (case.at, case.student)):
        rows.writerow([safe_cell(cell) for cell in _cells(one)])
    return out.getvalue()


def _cells(one: PlayedCase) -> Iterator[str]:
    yield from ("yes", one.student, one.group, one.title, one.at.isoformat(), one.case)
    yield "; ".join(one.flags)
    yield from (f"{one.brier:.4f}", f"{one.perfect:.4f}", f"{one.seconds / 60:.1f}")
    yield from (f"{one.soreness:g}", str(one.hints))
    for what in (NOT_COMPARED, WRONG_SIDE, SORE, CALLED_FOR):
        yield "; ".join(one.left[what])
    yield one.one_thing
