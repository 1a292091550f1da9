"""The page's parts on domains, on pass marks and their judges, and on earlier years."""

from __future__ import annotations

from html import escape

from sidewise.teaching.report.html_parts import MOST_ROWS, details_html, share_text, table_html
from sidewise.teaching.report.text import CARRYING, decimal_text, interval_text, year_cells
from sidewise.teaching.sitting.methods_beside import fails_under
from sidewise.teaching.sitting.reality import judges_reality
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.years import Years


def domains_html(e: Sitting) -> str:
    """The blueprint's domains, and how their true scores hang together."""
    found = e.fairness.domains
    if found is None:
        return ""
    names = [f.domain for f in found.domains]
    rows = [
        [f.domain, str(len(f.stations)), f"{100 * f.weight:.0f}%", decimal_text(f.mean, 1),
         decimal_text(f.sd, 1), interval_text(f.reliability), decimal_text(f.sem, 1),
         share_text(f.carries), decimal_text(f.one_more),
         *(decimal_text(float(r)) for r in found.correlations[k])]
        for k, f in enumerate(found.domains)
    ]  # fmt: skip
    heads = ["domain", "stations", "weight", "mean", "SD", "reliability", "SEM", "carries",
             "one station more", *names]  # fmt: skip
    note = (
        f"Reliability of the total with domains kept apart {found.reliability.text()}, SEM "
        f"{found.sem:.1f}. Carries: the domain's share of what the total truly measures. One "
        "station more: the total's reliability with one more station of the domain. Right: "
        "correlations of true scores; one above 1 is chance, read it as 1."
    )
    return f"<h3>Domains</h3>{table_html(heads, rows)}<p class='quiet'>{escape(note)}</p>"


def pass_marks_html(e: Sitting) -> str:
    """Every method's mark, who fails under which, and judges beside reality."""
    rows, look = [], set()
    for i, p in enumerate(e.pass_marks):
        decides = p.method == e.options.method
        look |= {i} if decides else set()
        fails = "-" if p.failures is None else str(p.failures)
        rows.append([p.method, interval_text(p.cut, 1), fails, p.cut.method or p.cut.note,
                     "decides" if decides else ""])  # fmt: skip
    if e.rule.sem == e.rule.sem and e.rule.mark == e.rule.mark:
        plus = e.rule.mark + e.rule.sem
        below = sum(1 for r in e.results if r.total < plus)
        rows.append(
            [f"the same + 1 SEM ({e.rule.sem:.1f})", decimal_text(plus, 1), str(below), "", ""]
        )
    heads = ["method", "pass mark", "below it", "interval by", ""]
    return f"<h2>Pass mark</h2>{table_html(heads, rows, look=look)}{_methods(e)}{_judges(e)}"


def _methods(e: Sitting) -> str:
    """Who fails under each method, side by side."""
    used = [p.method for p in e.pass_marks if p.cut.known]
    found = fails_under(e)
    if len(used) < 2 or not found:
        return ""
    rows = [
        [r.student, f"{r.total:.1f}", *("fails" if m in r.methods else "" for m in used)]
        for r in found[:MOST_ROWS]
    ]
    table = table_html(["student", "total", *used], rows)
    note = "By total alone. Rules of stations and critical errors are the same under every method."
    return details_html(
        f"Who fails under each of {len(used)} methods", f"{table}<p class='quiet'>{note}</p>"
    )


def _judges(e: Sitting) -> str:
    """Judges' expectations beside what students did; Ebel's cells."""
    parts = []
    real = judges_reality(e)
    if real is not None:
        rows = [
            [f"{i.station} {i.item}", decimal_text(i.expected), decimal_text(i.spread),
             decimal_text(i.borderline), str(i.borderline_n), decimal_text(i.everybody)]
            for i in real.items
        ]  # fmt: skip
        heads = ["item", "judges expect", "SD between judges", "borderline students earned",
                 "of them", "all students earned"]  # fmt: skip
        each = [
            [j.judge, decimal_text(j.mark, 1), decimal_text(j.lean, 1), decimal_text(j.apart, 1),
             decimal_text(j.link)]
            for j in real.judges
        ]  # fmt: skip
        own = [
            "judge",
            "mark",
            "more than borderline students earned",
            "apart, mean",
            "correlation",
        ]
        parts.append(f"<p>{escape(real.sentence)}</p>" + details_html(
            "Judges beside what students did", table_html(own, each) + table_html(heads, rows)
        ))  # fmt: skip
    if e.options.ebel is not None:
        cells = [
            [f"{c.relevance}, {c.difficulty}", f"{100 * c.expected:.0f}%", f"{c.items:.1f}",
             f"{c.weight:.1f}"]
            for c in e.options.ebel.cells
        ]  # fmt: skip
        heads = ["relevance, difficulty", "expected", "items (mean of judges)", "percent of marks"]
        parts.append(details_html("Ebel: relevance and difficulty", table_html(heads, cells)))
    return "".join(parts)


def years_html(found: Years | None) -> str:
    """Stations beside their last use, earlier pass marks on these stations; "" without a bank."""
    if found is None:
        return ""
    if not found.stations:
        return "<h2>Years</h2><p>None of these stations is in the bank.</p>"
    heads = ["station", "last at", "mean then", "now", "change", "beside the anchors", "mark then",
             "now", ""]  # fmt: skip
    look = {i for i, s in enumerate(found.stations) if s.apart}
    told = "".join(f"<p>{escape(m.sentence)}</p>" for m in found.marks) or (
        "<p>No earlier pass mark can be carried here: fewer than three stations in common.</p>"
    )
    table = table_html(heads, [year_cells(s) for s in found.stations], look=look)
    return f"<h2>Years</h2>{told}{table}<p class='quiet'>{escape(CARRYING)}</p>"
