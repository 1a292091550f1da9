"""The results in words and small tables for a terminal."""

from __future__ import annotations

import textwrap

from sidewise.assess.answers import answers
from sidewise.assess.estimate import Estimate
from sidewise.assess.examination import Examination
from sidewise.assess.grras import grras
from sidewise.assess.hands import Hands, ItemAgreement
from sidewise.assess.near import StudentResult
from sidewise.assess.stations import StationFigures

WIDTH = 96
SAFETY = (
    "These figures support a board's judgement and do not replace it; local rules of the "
    "examination come first."
)


def _wrapped(text: str, indent: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=indent, subsequent_indent=indent)


def marks_text(e: Examination) -> str:
    """`sidewise marks` without options: the answers, stations, pass marks, students, warnings."""
    parts = [
        _heading(e),
        *_answers(e),
        _stations(e),
        _pass_marks(e),
        _near(e),
        _groups(e),
        _warnings(e.warnings),
    ]
    return "\n\n".join(part for part in [*parts, _wrapped(SAFETY)] if part)


def _heading(e: Examination) -> str:
    t = e.table
    return (
        f"{e.marks.name}: {len(t.students):,} students, {len(t.stations)} stations, "
        f"{e.scores['examiner'].nunique()} examiners, {e.marks.rows:,} marks"
    )


def _answers(e: Examination) -> list[str]:
    return [f"{a.question}  {a.short}\n{_wrapped(a.sentence, '  ')}" for a in answers(e)]


def number(value: float | None, digits: int = 2) -> str:
    """A number, or a dash where there is none."""
    if value is None or value != value:
        return "-"
    return f"{value:.{digits}f}"


def interval(e: Estimate, digits: int = 2) -> str:
    """Value and limits, or a dash."""
    return e.text(digits) if e.known else "-"


def _stations(e: Examination) -> str:
    wide = max(8, *(len(s.station) for s in e.stations))
    head = (
        f"{'station':{wide}} {'n':>5} {'mean':>5} {'SD':>5} {'with the others':>21} "
        f"{'R2':>5} {'marks per grade':>21} {'pass mark':>9} {'below':>5}"
    )
    return "\n".join([head, *(_station(s, wide) for s in e.stations)])


def _station(s: StationFigures, wide: int) -> str:
    mark = "  *" if s.stands_apart else ""
    return (
        f"{s.station:{wide}} {s.n:5d} {number(s.mean, 1):>5} {number(s.sd, 1):>5} "
        f"{interval(s.discrimination):>21} {number(s.line.r_squared):>5} "
        f"{interval(s.line.slope, 1):>21} {number(s.line.cut.value, 1):>9} "
        f"{'-' if s.failures is None else s.failures:>5}{mark}"
    )


def _pass_marks(e: Examination) -> str:
    lines = ["Pass mark of the examination (percent)"]
    for p in e.pass_marks:
        decides = "  decides" if p.method == e.options.method else ""
        fails = "-" if p.failures is None else f"{p.failures} below"
        lines.append(f"  {p.method:24} {interval(p.cut, 1):>24}  {fails}{decides}")
    if e.rule.sem == e.rule.sem and e.rule.mark == e.rule.mark:
        plus = e.rule.mark + e.rule.sem
        between = sum(1 for r in e.results if e.rule.mark <= r.total < plus)
        lines.append(f"  {'the same + 1 SEM':24} {plus:>24.1f}  {between} between the two")
    return "\n".join(lines)


def _near(e: Examination) -> str:
    special = [r for r in e.results if r.decision in ("held", "incomplete") and not r.near]
    if not e.near and not special:
        return ""
    head = f"{'student':12} {'total':>6} {'margin':>7} {'other':>6} {'adjusted':>9}  decision"
    return "\n".join([head, *(_student(r) for r in [*e.near, *special])])


def _groups(e: Examination) -> str:
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
            f"  less the others {g.difference:+.1f} ({number(g.low, 1)} to {number(g.high, 1)})"
        )  # fmt: skip
        lines.append(f"  {g.group:16} n {g.n:<5} mean {number(g.mean, 1)}{gap}")
    look = sorted({g.station for g in found.stations if g.verdict == "look at this station"})
    if look:
        lines.append(f"  Stations to look at: {', '.join(look)}.")
    return "\n".join([*lines, _wrapped(found.caution, "  ")])


def _student(r: StudentResult) -> str:
    why = ""
    if r.critical_at:
        why = f" (critical error at {', '.join(r.critical_at)})"
    elif r.missing_at:
        why = f" (no marks at {', '.join(r.missing_at)})"
    elif r.short_of_stations:
        why = f" ({r.stations_passed} stations passed)"
    chance = "-" if r.other != r.other else f"{100 * r.other:.0f}%"
    return (
        f"{r.student:12} {number(r.total, 1):>6} {number(r.margin, 1):>7} {chance:>6} "
        f"{number(r.adjusted, 1):>9}  {r.decision}{why}"
    )


def _warnings(warnings: tuple[str, ...]) -> str:
    if not warnings:
        return ""
    return "\n".join(["Take care", *(_wrapped(f"- {w}", "  ") for w in warnings)])


# ---------------------------------------------------------------- agreement of hands


def hands_text(hands: Hands) -> str:
    """`sidewise agree`: one sentence per item, then each examiner against the reference."""
    f = hands.findings
    reference = "one reference examination" if f.has_reference else "no reference"
    head = (
        f"{f.name}: {f.patients} patients, {len(f.examiners)} examiners, {f.rows:,} findings, "
        f"{reference}"
    )
    items = [_hands_item(item) for item in hands.items]
    points = "\n".join(["For the report (GRRAS)", *(_wrapped(p.text, "  ") for p in grras(hands))])
    parts = [head, *items, points, _warnings(hands.warnings)]
    return "\n\n".join(part for part in parts if part)


def _hands_item(item: ItemAgreement) -> str:
    lines = [_wrapped(item.sentence)]
    if item.prevalence:
        shares = ", ".join(f"{word} {100 * p:.0f}%" for word, p in item.prevalence.items())
        lines.append(_wrapped(f"How common: {shares}.", "  "))
    lines += [f"  {line}" for line in _against(item)]
    lines += [_wrapped(f"Take care: {w}", "  ") for w in item.warnings]
    return "\n".join(lines)


def _against(item: ItemAgreement) -> list[str]:
    lines = []
    for a in item.against:
        if a.limits is not None:
            spread = f"{a.limits.lower.value:.1f} to {a.limits.upper.value:.1f}"
            mean = interval(a.limits.mean, 1)
            lines.append(f"{a.examiner} - reference: {mean}; 95% of differences {spread} (n {a.n})")
        elif a.kappa is not None and a.ac1 is not None:
            extra = ""
            if a.sensitivity is not None and a.specificity is not None:
                extra = (
                    f", sensitivity {interval(a.sensitivity)}"
                    f", specificity {interval(a.specificity)}"
                )
            lines.append(
                f"{a.examiner}: {a.same} of {a.n} as the reference; kappa {number(a.kappa.value)}, "
                f"{a.ac1.name.removeprefix('Gwet ')} {number(a.ac1.value)}{extra}"
            )
        else:
            lines.append(f"{a.examiner}: {a.n} readings, too few to compare")
    return lines
