"""The results in words and small tables for a terminal."""

from __future__ import annotations

import textwrap

from sidewise.ground.estimate import Estimate
from sidewise.ground.line_width import line_width
from sidewise.teaching.report.answers import board_answers
from sidewise.teaching.report.decisions import HEADS, HOW_SURE, decision_paragraphs, listed_rows
from sidewise.teaching.sitting.reality import judges_reality
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.stations import StationFigures
from sidewise.teaching.sitting.view import SAFETY
from sidewise.teaching.sitting.years import StationYear, Years

WIDTH = 96
# A longer list is not read in a terminal; the machine-readable output has them all.
MOST_LISTED = 120
MOST_YEARS = 5
CARRYING = (
    "An earlier mark decides only where it is given with --pass-mark. What changed all stations "
    "alike looks like ability and cannot be told."
)


def wrapped_text(text: str, indent: str = "") -> str:
    """A paragraph wrapped to the width of a terminal."""
    return textwrap.fill(text, line_width(WIDTH), initial_indent=indent, subsequent_indent=indent)


def marks_text(e: Sitting, years: Years | None = None) -> str:
    """`sidewise marks` without options: the answers, stations, pass marks, students, warnings;
    `years` beside earlier sittings."""
    parts = [
        _heading(e),
        *_answers(e),
        _stations(e),
        _pass_marks(e),
        _judges(e),
        _students(e),
        _groups(e),
        _domains(e),
        years_text(years) if years is not None else "",
        warnings_text(e.warnings),
    ]
    return "\n\n".join(part for part in [*parts, wrapped_text(SAFETY)] if part)


def _heading(e: Sitting) -> str:
    t = e.table
    return (
        f"{e.marks.name}: {len(t.students):,} students, {len(t.stations)} stations, "
        f"{e.scores['examiner'].nunique()} examiners, {e.marks.rows:,} marks"
    )


def _answers(e: Sitting) -> list[str]:
    return [f"{a.question}  {a.short}\n{wrapped_text(a.sentence, '  ')}" for a in board_answers(e)]


def decimal_text(value: float | None, digits: int = 2) -> str:
    """A number, or a dash where there is none."""
    if value is None or value != value:
        return "-"
    return f"{value:.{digits}f}"


def interval_text(e: Estimate, digits: int = 2) -> str:
    """Value and limits, or a dash."""
    return e.text(digits) if e.known else "-"


def _stations(e: Sitting) -> str:
    wide = max(8, *(len(s.station) for s in e.stations))
    head = (
        f"{'station':{wide}} {'n':>5} {'mean':>5} {'SD':>5} {'with the others':>21} "
        f"{'R2':>5} {'marks per grade':>21} {'pass mark':>9} {'below':>5}"
    )
    return "\n".join([head, *(_station(s, wide) for s in e.stations)])


def _station(s: StationFigures, wide: int) -> str:
    mark = "  *" if s.stands_apart else ""
    return (
        f"{s.station:{wide}} {s.n:5d} {decimal_text(s.mean, 1):>5} {decimal_text(s.sd, 1):>5} "
        f"{interval_text(s.discrimination):>21} {decimal_text(s.line.r_squared):>5} "
        f"{interval_text(s.line.slope, 1):>21} {decimal_text(s.line.cut.value, 1):>9} "
        f"{'-' if s.failures is None else s.failures:>5}{mark}"
    )


def _pass_marks(e: Sitting) -> str:
    lines = ["Pass mark of the examination (percent)"]
    for p in e.pass_marks:
        decides = "  decides" if p.method == e.options.method else ""
        fails = "-" if p.failures is None else f"{p.failures} below"
        lines.append(f"  {p.method:24} {interval_text(p.cut, 1):>24}  {fails}{decides}")
    if e.rule.sem == e.rule.sem and e.rule.mark == e.rule.mark:
        plus = e.rule.mark + e.rule.sem
        between = sum(1 for r in e.results if e.rule.mark <= r.total < plus)
        lines.append(f"  {'the same + 1 SEM':24} {plus:>24.1f}  {between} between the two")
    return "\n".join(lines)


def _judges(e: Sitting) -> str:
    real = judges_reality(e)
    return "" if real is None else wrapped_text(real.sentence)


def _students(e: Sitting) -> str:
    """Everybody who did not simply pass, and those near the border."""
    rows = listed_rows(e)
    if not rows:
        return ""
    more = len(rows) - MOST_LISTED
    lines = column_lines([list(HEADS), *rows[:MOST_LISTED]])
    return "\n".join([*lines, f"  {more:,} more: see --json."] if more > 0 else lines)


def column_lines(rows: list[list[str]]) -> list[str]:
    """Rows of a table, cells under each other: the first and last left, the others right."""
    wide = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        "  ".join(
            cell.ljust(w) if k in (0, len(row) - 1) else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(row, wide, strict=True))
        ).rstrip()
        for row in rows
    ]


def years_text(found: Years) -> str:
    """Stations beside their last use, and earlier pass marks on these stations."""
    if not found.stations:
        return "Years: none of these stations is in the bank."
    head = ["station", "last at", "mean then", "now", "change", "beside the anchors", "mark then",
            "now", ""]  # fmt: skip
    rows = [year_cells(s) for s in found.stations]
    told = [wrapped_text(m.sentence, "  ") for m in found.marks[:MOST_YEARS]]
    none = "" if found.marks else wrapped_text(
        "No earlier pass mark can be carried here: fewer than three stations in common.", "  "
    )  # fmt: skip
    return "\n".join(
        ["Years", *column_lines([head, *rows]), *told, none, wrapped_text(CARRYING, "  ")]
    )


def year_cells(s: StationYear) -> list[str]:
    """One station's row of the years."""
    return [
        s.station, s.last, decimal_text(s.mean_then, 1), decimal_text(s.mean, 1),
        f"{s.change:+z.1f}", "-" if s.beside != s.beside else f"{s.beside:+z.1f}",
        decimal_text(s.mark_then, 1), decimal_text(s.mark, 1),
        "changed otherwise" if s.apart else "",
    ]  # fmt: skip


def decisions_text(e: Sitting, recall: int = 0) -> str:
    """`sidewise marks --decide`: the decisions, every rule named, and how sure each one is."""
    paragraphs = [wrapped_text(text) for text in decision_paragraphs(e, recall)]
    parts = [
        _heading(e),
        *paragraphs,
        _students(e),
        wrapped_text(HOW_SURE),
        warnings_text(e.warnings),
    ]
    return "\n\n".join(part for part in [*parts, wrapped_text(SAFETY)] if part)


def _groups(e: Sitting) -> str:
    """Groups of students that the table names; small ones are not shown."""
    found = e.fairness.groups
    if found is None:
        return ""
    lines = ["Groups of students"]
    for g in found.groups:
        if g.suppressed or g.n is None:
            lines.append(f"  {g.group:16} too few to show")
            continue
        gap = "" if g.difference is None else (
            f"  less the others {g.difference:+.1f} "
            f"({decimal_text(g.low, 1)} to {decimal_text(g.high, 1)}), "
            f"{decimal_text(g.effect)} standard deviations"
        )  # fmt: skip
        lines.append(f"  {g.group:16} n {g.n:<5} mean {decimal_text(g.mean, 1)}{gap}")
    look = sorted({g.station for g in found.stations if g.verdict == "look at this station"})
    if look:
        lines.append(f"  Stations to look at: {', '.join(look)}.")
    unlike = [g for g in e.fairness.examiner_groups if g.verdict == "look at these marks"]
    lines += [
        f"  {g.examiner} gave {g.group} {g.gap:+.1f} points ({g.low:.1f} to {g.high:.1f}) beside "
        "their marks elsewhere." for g in unlike
    ]  # fmt: skip
    return "\n".join([*lines, wrapped_text(found.caution, "  ")])


def _domains(e: Sitting) -> str:
    """Domains that the table gives the stations, and the composite."""
    found = e.fairness.domains
    if found is None:
        return ""
    head = ["domain", "stations", "weight", "mean", "SD", "reliability", "SEM", "carries",
            "one more"]  # fmt: skip
    rows = [
        [f.domain, str(len(f.stations)), f"{100 * f.weight:.0f}%", decimal_text(f.mean, 1),
         decimal_text(f.sd, 1), interval_text(f.reliability), decimal_text(f.sem, 1),
         "-" if f.carries != f.carries else f"{100 * f.carries:.0f}%", decimal_text(f.one_more)]
        for f in found.domains
    ]  # fmt: skip
    whole = (
        f"Reliability of the total with domains kept apart {found.reliability.text()}, SEM "
        f"{found.sem:.1f}. Carries: share of what the total truly measures; one more: the total's "
        "reliability with one more station of the domain."
    )
    return "\n".join([*column_lines([head, *rows]), wrapped_text(whole, "  ")])


def warnings_text(warnings: tuple[str, ...]) -> str:
    """What to take care of, one each; "" where there is nothing."""
    if not warnings:
        return ""
    return "\n".join(["Take care", *(wrapped_text(f"- {w}", "  ") for w in warnings)])
