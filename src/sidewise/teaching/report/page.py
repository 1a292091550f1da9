"""The report of one sitting: a single page that needs nothing else.

The answers come first, each with its basis one tap away; then pictures with the same figures in
tables; then every student; then what to take care of.
"""

from __future__ import annotations

from datetime import date
from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from sidewise.teaching.report.answers import BoardAnswer, board_answers
from sidewise.teaching.report.decisions import (
    HEADS,
    HOW_SURE,
    decision_cells,
    decision_paragraphs,
    listed_rows,
)
from sidewise.teaching.report.html_parts import (
    MOST_ROWS,
    details_html,
    figure_html,
    list_html,
    share_text,
    table_html,
)
from sidewise.teaching.report.page_marks import domains_html, pass_marks_html, years_html
from sidewise.teaching.report.pictures import (
    near_picture,
    projection_curve,
    severity_strip,
    station_map,
)
from sidewise.teaching.report.text import decimal_text, interval_text
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.stations import StationFigures
from sidewise.teaching.sitting.view import SAFETY
from sidewise.teaching.sitting.years import Years
from sidewise.teaching.thresholds import quoted_thresholds

if TYPE_CHECKING:
    from sidewise.teaching.severity.group_comparison import GroupComparison

WHY = len(HEADS) - 1


def report_style() -> str:
    """The style sheet of the report."""
    return files("sidewise.teaching.report").joinpath("report.css").read_text(encoding="utf-8")


def report_html(
    e: Sitting, made: date | None = None, rests_on: str = "", years: Years | None = None
) -> str:
    """The whole page; no link, script or picture from elsewhere. `made`: the day it says;
    `rests_on`: which table and which answers, in words; `years`: beside earlier sittings."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(_title(e))}</title>\n<style>\n{report_style()}</style></head>\n"
        f'<body class="report-page"><main class="report">\n'
        f"{report_body(e, made, rests_on, years)}\n"
        "</main></body></html>\n"
    )


def _title(e: Sitting) -> str:
    return f"Examination report, {e.marks.name}"


def report_body(
    e: Sitting, made: date | None = None, rests_on: str = "", years: Years | None = None
) -> str:
    """What stands in the page, to be put into another one; its style is `report_style`."""
    return "\n".join(
        [
            _head(e, _title(e), made, rests_on),
            _answers(e), _students(e), _stations(e), _examiners(e),
            _groups(e),
            _reliability(e), pass_marks_html(e), years_html(years), _everyone(e),
            _care(e), _basis(),
        ]
    )  # fmt: skip


def _head(e: Sitting, title: str, made: date | None, rests_on: str) -> str:
    t = e.table
    counts = (
        f"{len(t.students):,} students, {len(t.stations)} stations, "
        f"{e.scores['examiner'].nunique()} examiners, {e.marks.rows:,} marks"
    )
    sitting = str(e.scores["sitting"].iloc[0])
    # "1" stands for a table that names no sitting.
    named = f"Sitting {sitting}. " if sitting != "1" else ""
    day = f"Made on {made.day} {made:%B %Y}. " if made is not None else ""
    return (
        f"<h1>{escape(title)}</h1><p class='quiet'>{escape(named + day + counts)}. "
        f"All marks are percent of "
        f"what a station can give. {escape(SAFETY)}</p>"
        + (f"<p class='quiet'>{escape(rests_on)}</p>" if rests_on else "")
    )


def _answers(e: Sitting) -> str:
    return f'<ul class="answers">{"".join(_answer(a) for a in board_answers(e))}</ul>'


def _answer(a: BoardAnswer) -> str:
    return (
        f"<li><h2>{escape(a.question)}</h2><p class='short'>{escape(a.short)}</p>"
        f"<p>{escape(a.sentence)}</p>{details_html('What this rests on', list_html(a.basis))}</li>"
    )


# ---------------------------------------------------------------- stations


def _stations(e: Sitting) -> str:
    heads = ["station", "students", "mean", "SD", "link to the others", "points per grade", "R²",
             "pass mark", "below", "alpha without"]  # fmt: skip
    look = {i for i, s in enumerate(e.stations) if s.stands_apart}
    rows = [_station_cells(s) for s in e.stations]
    caption = (
        "Lines are 95% intervals. A sound station lies clear of the dotted zero in both columns; a "
        "diamond marks one that does not, and without which the examination is more consistent."
    )
    return (
        f"<h2>Stations</h2>{figure_html(station_map(e), caption)}"
        + details_html("The same in figures", table_html(heads, rows, look=look))
        + details_html("Grades, circuits, examiners and agreement with the rating", _more(e))
        + details_html("Items", _items(e))
    )


def _station_cells(s: StationFigures) -> list[str]:
    return [
        s.station, str(s.n), decimal_text(s.mean, 1), decimal_text(s.sd, 1),
        interval_text(s.discrimination), interval_text(s.line.slope, 1),
        decimal_text(s.line.r_squared), interval_text(s.line.cut, 1),
        "-" if s.failures is None else str(s.failures), decimal_text(s.alpha_without),
    ]  # fmt: skip


def _more(e: Sitting) -> str:
    words = list(e.marks.scale.words)
    heads = ["station", *words, "alpha of items", "between circuits", "between examiners",
             "marks and rating disagree", "no score"]  # fmt: skip
    rows = [
        [
            s.station, *map(str, s.grades), interval_text(s.alpha),
            share_text(s.circuits.omega_squared), share_text(s.examiners.omega_squared),
            "-" if s.two_by_two is None else str(s.two_by_two.disagree), str(s.missing),
        ]
        for s in e.stations
    ]  # fmt: skip
    note = (
        "Between: share of the variance of marks (omega squared; it may come out below zero). "
        "Disagree: would pass by marks and fail by rating, or the other way."
    )
    return table_html(heads, rows) + f"<p class='quiet'>{note}</p>{_circuits(e)}"


def _circuits(e: Sitting) -> str:
    """Circuits as groups of students, with the caution that belongs to such a comparison."""
    found = e.fairness.circuits
    if found is None:
        return ""
    return _compared(found, "circuit")


def _groups(e: Sitting) -> str:
    """Groups of students named in the table, with the caution that goes with them."""
    found = e.fairness.groups
    if found is None:
        return ""
    gaps = [
        f"{g.station}: {g.group} {g.gap:+.1f} points ({g.low:.1f} to {g.high:.1f}) beside what "
        "its marks at the other stations lead one to expect."
        for g in found.stations if g.verdict == "look at this station"
    ]  # fmt: skip
    look = f"<p>Stations to look at:</p>{list_html(gaps)}" if gaps else (
        "<p>At no station does a group fall out of line with its own marks elsewhere.</p>"
        if found.stations else ""
    )  # fmt: skip
    return f"<h2>Groups of students</h2>{_compared(found, 'group')}{look}{_by_examiner(e)}"


def _by_examiner(e: Sitting) -> str:
    """Examiner by group: whoever marks a group unlike, beside the students' own marks elsewhere."""
    rows = [
        [g.examiner, g.group, f"{g.n} and {g.rest}", f"{g.gap:+.1f} ({g.low:.1f} to {g.high:.1f})",
         decimal_text(g.p_adjusted), g.verdict]
        for g in e.fairness.examiner_groups
    ]  # fmt: skip
    if not rows:
        return ""
    named = {i for i, row in enumerate(rows) if row[-1] == "look at these marks"}
    heads = ["examiner", "group", "marks of group and rest", "less the rest (95%)", "p (Holm)", ""]
    note = "Each mark beside the student's own elsewhere, and beside the middle of all examiners."
    table = table_html(heads, rows[:MOST_ROWS], look=named)
    told = (
        f"<p>Examiners to look at: {escape(', '.join(sorted({rows[i][0] for i in named})))}.</p>"
        if named else "<p>No examiner marks a group unlike the other examiners.</p>"
    )  # fmt: skip
    return told + details_html("Examiner by group", f"{table}<p class='quiet'>{note}</p>")


def _compared(found: GroupComparison, heading: str) -> str:
    rows = []
    for g in found.groups:
        if g.suppressed or g.difference is None or g.low is None or g.high is None:
            rows.append([g.group, "too few to show", "-", "-", "-", "-"])
            continue
        gap = f"{g.difference:+.1f} ({g.low:.1f} to {g.high:.1f})"
        effect = "-" if g.effect is None else (
            f"{g.effect:+.2f} ({decimal_text(g.effect_low)} to {decimal_text(g.effect_high)})"
        )  # fmt: skip
        rows.append([
            g.group, str(g.n), decimal_text(g.mean, 1), gap, effect, decimal_text(g.p_adjusted)
        ])  # fmt: skip
    heads = [heading, "students", "mean", "less the others (95%)",
             "in standard deviations (Hedges' g)", "p (Holm)"]  # fmt: skip
    return table_html(heads, rows) + f"<p class='quiet'>{escape(found.caution)}</p>"


def _items(e: Sitting) -> str:
    rows = [
        [
            f"{s.station} {i.item}",
            decimal_text(i.facility),
            decimal_text(i.discrimination),
            str(i.blank),
        ]
        for s in e.stations
        for i in s.items
    ]
    return table_html(["item", "share of marks", "link to other items", "blank"], rows[:MOST_ROWS])


# ---------------------------------------------------------------- examiners


def _examiners(e: Sitting) -> str:
    s = e.fairness.severity
    if s is None:
        return "<h2>Examiners</h2><p>Severity was not computed; see what to take care of.</p>"
    if not s.connected:
        inner = f"<p class='plain'>{escape(s.sentence)}</p>"
        return f"<h2>Examiners</h2>{inner}{_day(e)}"
    caption = (
        "Students' ability and stations' difficulty taken out. A line is a 95% interval of one "
        "examiner; with many examiners some lines clear zero by chance, so a diamond marks only "
        "those named by the rule for all of them together."
    )
    return (
        f"<h2>Examiners</h2><p>{escape(s.sentence)}</p>{figure_html(severity_strip(e), caption)}"
        + details_html("The same in figures", _examiner_table(e))
        + _day(e)
    )


def _examiner_table(e: Sitting) -> str:
    s, model = e.fairness.severity, e.fairness.model
    if s is None:
        return ""
    logits = {x.examiner: x for x in model.examiners} if model else {}
    rows = []
    for x in sorted(s.examiners, key=lambda x: -x.points):
        m = logits.get(x.examiner)
        rows.append([
            x.examiner, str(x.n), f"{-x.points:+z.1f}", f"{-x.high:.1f} to {-x.low:.1f}",
            f"{m.severity:+.2f} ({m.low:.2f} to {m.high:.2f})" if m else "-",
            decimal_text(m.infit if m else None), decimal_text(m.outfit if m else None), x.verdict,
        ])  # fmt: skip
    heads = ["examiner", "marked", "points of 100", "95%", "severity in logits", "infit",
             "outfit", "by the rule for points"]  # fmt: skip
    named = {i for i, row in enumerate(rows) if row[-1] in ("severe", "lenient")}
    note = (
        f"Points: marks. Logits and fit: many-facet model of the {e.fairness.model_of}; fit is 1 "
        "when judgements scatter as the model expects, below when too even, above when erratic. "
        "The model is another view; nobody is named from it."
    )
    return table_html(heads, rows, look=named) + f"<p class='quiet'>{escape(note)}</p>"


def _day(e: Sitting) -> str:
    """Drift, halo and spread: a sentence each, and where the order of the day was taken from."""
    f = e.fairness
    found = [x.sentence for x in (f.drift, f.halo, f.spread) if x is not None]
    if e.fairness.drift is not None:
        found.append(f"The order of the day is that of the column {e.fairness.drift_by}.")
    if not found:
        return ""
    heading = "Change over the day, items that move together, marks that lie close"
    return details_html(heading, list_html(found) + _spread_table(e))


def _spread_table(e: Sitting) -> str:
    """Spread of each examiner's marks beside colleagues'."""
    found = e.fairness.spread
    rows = [] if found is None else [
        [x.examiner, str(x.n), f"{x.ratio:.2f} ({x.low:.2f} to {x.high:.2f})", x.seen]
        for x in found.examiners if x.ratio == x.ratio
    ]  # fmt: skip
    if not rows:
        return ""
    return table_html(["examiner", "marked", "spread beside colleagues' (95%)", "seen"], rows)


# ---------------------------------------------------------------- students


def _students(e: Sitting) -> str:
    rows = listed_rows(e)
    caption = (
        "Each dot is a student. The shaded band is the 95% interval of the pass mark itself; the "
        f"lines are one standard error of measurement. In brackets: the chance of the other. "
        f"{HOW_SURE}"
    )
    listed = (
        table_html(list(HEADS), rows[:MOST_ROWS], prose=WHY) if rows else "<p>Everybody passed.</p>"
    )
    told = "".join(f"<p>{escape(text)}</p>" for text in decision_paragraphs(e))
    return f"<h2>Decisions</h2>{told}{figure_html(near_picture(e), caption)}{listed}"


def _everyone(e: Sitting) -> str:
    shown = e.results[:MOST_ROWS]
    rest = len(e.results) - len(shown)
    more = f"<p class='quiet'>{rest:,} more in the machine-readable output.</p>" if rest else ""
    rows = [
        [*decision_cells(r), decimal_text(r.adjusted, 1), r.adjusted_decision or "-"] for r in shown
    ]
    note = (
        "<p class='quiet'>Adjusted: the marks as average examiners would have given them. Shown "
        "for the board, never used for the decision.</p>"
    )
    table = table_html([*HEADS, "adjusted", "by adjusted total"], rows, prose=WHY)
    return "<h2>Every student</h2>" + details_html("The list", table + more) + note


# ---------------------------------------------------------------- reliability and pass marks


def _reliability(e: Sitting) -> str:
    caption = (
        "Full line: students compared over the same stations. Broken line: with other stations of "
        "the same kind. The diamond is this examination, its line the 95% interval."
    )
    return (
        f"<h2>Reliability</h2>{figure_html(projection_curve(e), caption)}"
        + details_html("Where the differences in marks come from", _variance(e))
        + domains_html(e)
    )


def _variance(e: Sitting) -> str:
    c = e.fairness.components
    if c is None:
        return "<p>Not computed; see what to take care of.</p>"
    whole = sum(c.components.values()) or 1.0
    rows = []
    for name, value in c.components.items():
        limits = c.intervals.get(name)
        reach = f"{limits.low:.1f} to {limits.high:.1f}" if limits else "-"
        zero = "at zero, the boundary" if name in c.boundary else ""
        spoken = name.replace("_", " by ")
        rows.append([spoken, decimal_text(value, 1), reach, f"{100 * value / whole:.0f}%", zero])
    heads = ["from", "variance", "95%", "share", ""]
    return table_html(heads, rows) + f"<p class='quiet'>Estimator: {escape(c.estimator)}.</p>"


def _care(e: Sitting) -> str:
    if not e.warnings:
        return ""
    return f"<h2>Take care</h2>{list_html(e.warnings, 'care')}"


def _basis() -> str:
    lines = [t.basis() for t in quoted_thresholds().values()]
    inner = list_html(lines) + (
        "<p class='quiet'>Figures marked recalled are widely quoted and were not read in the "
        "source named; nothing here is passed or failed by them alone.</p>"
    )
    return "<h2>Thresholds quoted</h2>" + details_html("The list, and how each is held", inner)
