"""The report of one sitting: a single page that needs nothing else.

The answers come first, each with its basis one tap away; then pictures with the same figures in
tables; then every student; then what to take care of.
"""

from __future__ import annotations

from html import escape
from importlib.resources import files
from typing import TYPE_CHECKING

from sidewise.assess.answers import Answer, answers
from sidewise.assess.examination import Examination
from sidewise.assess.near import StudentResult
from sidewise.assess.pictures import near_picture, projection_curve, severity_strip, station_map
from sidewise.assess.stations import StationFigures
from sidewise.assess.text import SAFETY, interval, number
from sidewise.assess.thresholds import thresholds

if TYPE_CHECKING:
    from sidewise.assess.groups import GroupComparison

# A page with more rows than this is no longer read; the machine-readable output has them all.
MOST_STUDENTS = 2000
STUDENT_HEADS = ["student", "total", "from the mark", "decision", "chance of the other", "adjusted",
                 "by adjusted marks", "note"]  # fmt: skip


def report_html(e: Examination) -> str:
    """The whole page; no link, script or picture from elsewhere."""
    style = files("sidewise.assess").joinpath("report.css").read_text(encoding="utf-8")
    title = f"Examination report, {e.marks.name}"
    body = "\n".join(
        [
            _head(e, title), _answers(e), _stations(e), _examiners(e), _groups(e), _students(e),
            _reliability(e), _pass_marks(e), _everyone(e), _care(e), _basis(),
        ]
    )  # fmt: skip
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{escape(title)}</title>\n<style>\n{style}</style></head>\n"
        f"<body><main>\n{body}\n</main></body></html>\n"
    )


def table(heads: list[str], rows: list[list[str]], look: set[int] | None = None) -> str:
    """A table; the first cell of a row is its heading; rows in `look` are set strong."""
    head = "".join(f'<th scope="col">{escape(h)}</th>' for h in heads)
    lines = []
    for i, row in enumerate(rows):
        strong = ' class="look"' if look and i in look else ""
        cells = "".join(f"<td>{escape(c)}</td>" for c in row[1:])
        lines.append(f'<tr{strong}><th scope="row">{escape(row[0])}</th>{cells}</tr>')
    return (
        f'<div class="wide"><table><thead><tr>{head}</tr></thead>'
        f"<tbody>{''.join(lines)}</tbody></table></div>"
    )


def details(summary: str, inner: str) -> str:
    """Something one tap away."""
    return f"<details><summary>{escape(summary)}</summary>{inner}</details>"


def bullets(lines: list[str] | tuple[str, ...], kind: str = "") -> str:
    """A list of sentences."""
    said = f' class="{kind}"' if kind else ""
    return f"<ul{said}>{''.join(f'<li>{escape(text)}</li>' for text in lines if text)}</ul>"


def figure(drawn: str, caption: str) -> str:
    """A picture with its caption; nothing when there is no picture."""
    if not drawn:
        return ""
    return f"<figure>{drawn}<figcaption>{escape(caption)}</figcaption></figure>"


def _head(e: Examination, title: str) -> str:
    t = e.table
    counts = (
        f"{len(t.students):,} students, {len(t.stations)} stations, "
        f"{e.scores['examiner'].nunique()} examiners, {e.marks.rows:,} marks"
    )
    return (
        f"<h1>{escape(title)}</h1><p class='quiet'>{escape(counts)}. All marks are percent of "
        f"what a station can give. {escape(SAFETY)}</p>"
    )


def _answers(e: Examination) -> str:
    return f'<ul class="answers">{"".join(_answer(a) for a in answers(e))}</ul>'


def _answer(a: Answer) -> str:
    return (
        f"<li><h2>{escape(a.question)}</h2><p class='short'>{escape(a.short)}</p>"
        f"<p>{escape(a.sentence)}</p>{details('What this rests on', bullets(a.basis))}</li>"
    )


# ---------------------------------------------------------------- stations


def _stations(e: Examination) -> str:
    heads = ["station", "students", "mean", "SD", "link to the others", "points per grade", "R²",
             "pass mark", "below", "alpha without"]  # fmt: skip
    look = {i for i, s in enumerate(e.stations) if s.stands_apart}
    rows = [_station_cells(s) for s in e.stations]
    caption = (
        "Lines are 95% intervals. A sound station lies clear of the dotted zero in both columns; a "
        "diamond marks one that does not, and without which the examination is more consistent."
    )
    return (
        f"<h2>Stations</h2>{figure(station_map(e), caption)}"
        + details("The same in figures", table(heads, rows, look=look))
        + details("Grades, circuits, examiners and agreement with the rating", _more(e))
        + details("Items", _items(e))
    )


def _station_cells(s: StationFigures) -> list[str]:
    return [
        s.station, str(s.n), number(s.mean, 1), number(s.sd, 1), interval(s.discrimination),
        interval(s.line.slope, 1), number(s.line.r_squared), interval(s.line.cut, 1),
        "-" if s.failures is None else str(s.failures), number(s.alpha_without),
    ]  # fmt: skip


def _more(e: Examination) -> str:
    words = list(e.marks.scale.words)
    heads = ["station", *words, "alpha of items", "between circuits", "between examiners",
             "marks and rating disagree", "no score"]  # fmt: skip
    rows = [
        [
            s.station, *map(str, s.grades), interval(s.alpha), _share(s.circuits.omega_squared),
            _share(s.examiners.omega_squared),
            "-" if s.two_by_two is None else str(s.two_by_two.disagree), str(s.missing),
        ]
        for s in e.stations
    ]  # fmt: skip
    note = (
        "Between: share of the variance of marks (omega squared; it may come out below zero). "
        "Disagree: would pass by marks and fail by rating, or the other way."
    )
    return table(heads, rows) + f"<p class='quiet'>{note}</p>{_circuits(e)}"


def _circuits(e: Examination) -> str:
    """Circuits as groups of students, with the caution that belongs to such a comparison."""
    found = e.fairness.circuits
    if found is None:
        return ""
    return _compared(found, "circuit")


def _groups(e: Examination) -> str:
    """Groups of students named in the table, with the caution that goes with them."""
    found = e.fairness.groups
    if found is None:
        return ""
    gaps = [
        f"{g.station}: {g.group} {g.gap:+.1f} points ({g.low:.1f} to {g.high:.1f}) beside what "
        "its marks at the other stations lead one to expect."
        for g in found.stations if g.verdict == "look at this station"
    ]  # fmt: skip
    look = f"<p>Stations to look at:</p>{bullets(gaps)}" if gaps else (
        "<p>At no station does a group fall out of line with its own marks elsewhere.</p>"
        if found.stations else ""
    )  # fmt: skip
    return f"<h2>Groups of students</h2>{_compared(found, 'group')}{look}"


def _compared(found: GroupComparison, heading: str) -> str:
    rows = []
    for g in found.groups:
        if g.suppressed or g.difference is None or g.low is None or g.high is None:
            rows.append([g.group, "too few to show", "-", "-", "-"])
            continue
        gap = f"{g.difference:+.1f} ({g.low:.1f} to {g.high:.1f})"
        rows.append([g.group, str(g.n), number(g.mean, 1), gap, number(g.p_adjusted)])
    heads = [heading, "students", "mean", "less the others (95%)", "p (Holm)"]
    return table(heads, rows) + f"<p class='quiet'>{escape(found.caution)}</p>"


def _share(value: float) -> str:
    return "-" if value != value else f"{100 * value:.0f}%"


def _items(e: Examination) -> str:
    rows = [
        [f"{s.station} {i.item}", number(i.facility), number(i.discrimination), str(i.blank)]
        for s in e.stations
        for i in s.items
    ]
    return table(["item", "share of marks", "link to other items", "blank"], rows[:MOST_STUDENTS])


# ---------------------------------------------------------------- examiners


def _examiners(e: Examination) -> str:
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
        f"<h2>Examiners</h2><p>{escape(s.sentence)}</p>{figure(severity_strip(e), caption)}"
        + details("The same in figures", _examiner_table(e))
        + _day(e)
    )


def _examiner_table(e: Examination) -> str:
    s, model = e.fairness.severity, e.fairness.model
    if s is None:
        return ""
    logits = {x.examiner: x for x in model.examiners} if model else {}
    rows = []
    for x in sorted(s.examiners, key=lambda x: -x.points):
        m = logits.get(x.examiner)
        rows.append([
            x.examiner, str(x.n), f"{-x.points:+.1f}", f"{-x.high:.1f} to {-x.low:.1f}",
            f"{m.severity:+.2f} ({m.low:.2f} to {m.high:.2f})" if m else "-",
            number(m.infit if m else None), number(m.outfit if m else None), x.verdict,
        ])  # fmt: skip
    heads = ["examiner", "marked", "points of 100", "95%", "severity in logits", "infit",
             "outfit", "by the rule for points"]  # fmt: skip
    named = {i for i, row in enumerate(rows) if row[-1] in ("severe", "lenient")}
    note = (
        f"Points: marks. Logits and fit: many-facet model of the {e.fairness.model_of}; fit is 1 "
        "when judgements scatter as the model expects, below when too even, above when erratic. "
        "The model is another view; nobody is named from it."
    )
    return table(heads, rows, look=named) + f"<p class='quiet'>{escape(note)}</p>"


def _day(e: Examination) -> str:
    """Drift and halo: a sentence each, and where the order of the day was taken from."""
    found = [x.sentence for x in (e.fairness.drift, e.fairness.halo) if x is not None]
    if e.fairness.drift is not None:
        found.append(f"The order of the day is that of the column {e.fairness.drift_by}.")
    if not found:
        return ""
    return details("Change over the day, and items that move together", bullets(found))


# ---------------------------------------------------------------- students


def _students(e: Examination) -> str:
    special = [r for r in e.results if r.decision in ("held", "incomplete") and not r.near]
    rows = [_student_cells(r) for r in [*e.near, *special]]
    heads = STUDENT_HEADS
    caption = (
        "Each dot is a student. The shaded band is the 95% interval of the pass mark itself; the "
        "lines are one standard error of measurement. "
        "In brackets: the probability that the other decision would be right."
    )
    listed = table(heads, rows) if rows else "<p>No student is near the mark.</p>"
    note = (
        "<p class='quiet'>Adjusted: the marks as average examiners would have given them. Shown "
        "for the board, never used for the decision.</p>"
    )
    return f"<h2>Students near the mark</h2>{figure(near_picture(e), caption)}{listed}{note}"


def _student_cells(r: StudentResult) -> list[str]:
    other = "-" if r.other != r.other else f"{100 * r.other:.0f}%"
    return [
        r.student, number(r.total, 1), number(r.margin, 1), r.decision, other,
        number(r.adjusted, 1), r.adjusted_decision or "-", _note(r),
    ]  # fmt: skip


def _note(r: StudentResult) -> str:
    notes = []
    if r.critical_at:
        notes.append(f"critical error at {', '.join(r.critical_at)}")
    if r.missing_at:
        notes.append(f"no marks at {', '.join(r.missing_at)}")
    if r.short_of_stations:
        notes.append(f"only {r.stations_passed} stations passed")
    return "; ".join(notes)


def _everyone(e: Examination) -> str:
    heads = STUDENT_HEADS
    shown = e.results[:MOST_STUDENTS]
    rest = len(e.results) - len(shown)
    more = f"<p class='quiet'>{rest:,} more in the machine-readable output.</p>" if rest else ""
    rows = [_student_cells(r) for r in shown]
    return "<h2>Every student</h2>" + details("The list", table(heads, rows) + more)


# ---------------------------------------------------------------- reliability and pass marks


def _reliability(e: Examination) -> str:
    caption = (
        "Full line: students compared over the same stations. Broken line: with other stations of "
        "the same kind. The diamond is this examination, its line the 95% interval."
    )
    return f"<h2>Reliability</h2>{figure(projection_curve(e), caption)}" + details(
        "Where the differences in marks come from", _variance(e)
    )


def _variance(e: Examination) -> str:
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
        rows.append([spoken, number(value, 1), reach, f"{100 * value / whole:.0f}%", zero])
    heads = ["from", "variance", "95%", "share", ""]
    return table(heads, rows) + f"<p class='quiet'>Estimator: {escape(c.estimator)}.</p>"


def _pass_marks(e: Examination) -> str:
    rows, look = [], set()
    for i, p in enumerate(e.pass_marks):
        decides = p.method == e.options.method
        look |= {i} if decides else set()
        fails = "-" if p.failures is None else str(p.failures)
        rows.append([p.method, interval(p.cut, 1), fails, p.cut.method or p.cut.note,
                     "decides" if decides else ""])  # fmt: skip
    if e.rule.sem == e.rule.sem and e.rule.mark == e.rule.mark:
        plus = e.rule.mark + e.rule.sem
        below = sum(1 for r in e.results if r.total < plus)
        rows.append([f"the same + 1 SEM ({e.rule.sem:.1f})", number(plus, 1), str(below), "", ""])
    heads = ["method", "pass mark", "below it", "interval by", ""]
    return f"<h2>Pass mark</h2>{table(heads, rows, look=look)}"


def _care(e: Examination) -> str:
    if not e.warnings:
        return ""
    return f"<h2>Take care</h2>{bullets(e.warnings, 'care')}"


def _basis() -> str:
    lines = [t.basis() for t in thresholds().values()]
    inner = bullets(lines) + (
        "<p class='quiet'>Figures marked recalled are widely quoted and were not read in the "
        "source named; nothing here is passed or failed by them alone.</p>"
    )
    return "<h2>Thresholds quoted</h2>" + details("The list, and how each is held", inner)
