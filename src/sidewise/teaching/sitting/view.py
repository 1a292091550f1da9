"""A sitting's analysis in a line, in tables and in a notebook."""

from __future__ import annotations

from sidewise.ground.result_view import Table, TableRow, View, field_table
from sidewise.teaching.pass_marks.decisions import StudentResult
from sidewise.teaching.sitting.sitting import Sitting, station_row

SAFETY = (
    "These figures support a board's judgement and do not replace it; local rules of the "
    "examination come first."
)
STUDENTS = tuple(StudentResult.__dataclass_fields__)
STATIONS = (
    "station", "n", "mean", "sd", "discrimination", "alpha", "alpha_without", "r_squared", "slope",
    "cut", "cut_low", "cut_high", "failures", "signs",
)  # fmt: skip
PASS_MARKS = ("method", "mark", "low", "high", "failures", "warnings")


def sitting_view(found: Sitting) -> View:
    """The view of a sitting: its stations first, one row each."""
    return View(
        headline=_headline(found),
        tables={
            "stations": Table(STATIONS, lambda: [station_row(s) for s in found.stations]),
            "students": field_table(STUDENTS, found.results),
            "pass_marks": Table(PASS_MARKS, lambda: _pass_mark_rows(found)),
        },
        cautions=(*found.warnings, SAFETY),
    )


def _headline(found: Sitting) -> str:
    mark = found.deciding
    near = f"; {len(found.near)} students near the mark" if found.near else ""
    return (
        f"{found.marks.name}: {len(found.table.students):,} students, "
        f"{len(found.table.stations)} stations; pass mark {mark.cut.text(1, '%')} "
        f"by {mark.method}{near}"
    )


def _pass_mark_rows(found: Sitting) -> list[TableRow]:
    return [
        {
            "method": one.method,
            "mark": one.cut.value if one.cut.known else None,
            "low": one.cut.low,
            "high": one.cut.high,
            "failures": one.failures,
            "warnings": "; ".join(one.warnings),
        }
        for one in found.pass_marks
    ]
