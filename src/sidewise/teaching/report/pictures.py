"""The four pictures of the report: stations, examiners, students near the mark, projection."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.estimate import Estimate
from sidewise.ground.svg import page_parts as d
from sidewise.teaching.pass_marks.decisions import StudentResult
from sidewise.teaching.report.answers import reliability_of
from sidewise.teaching.report.decisions import percent_text
from sidewise.teaching.severity.mark_severity import MarkShift
from sidewise.teaching.sitting.sitting import Sitting
from sidewise.teaching.sitting.stations import StationFigures

WIDTH = 760.0
ROW = 30.0
# More rows than this and only the outermost are drawn; the table has them all.
MOST_ROWS = 40


def _panel(values: list[float], start: float, stop: float) -> d.Scale:
    known = [v for v in values if v == v and abs(v) != np.inf]
    return d.roomy_scale(min([0.0, *known]), max([0.0, *known], default=1.0) or 1.0, start, stop)


# ---------------------------------------------------------------- stations


def station_map(e: Sitting) -> str:
    """One row per station: its link to the others, its link to the rating, its marks."""
    rows = e.stations[:MOST_ROWS]
    name_end = 118.0
    links = _panel(_ends([s.discrimination for s in rows]), name_end, name_end + 175)
    grades = _panel(_ends([s.line.slope for s in rows]), name_end + 215, name_end + 390)
    marks = d.Scale(0, 100, name_end + 430, WIDTH - 20)
    top, bottom = 44.0, 44.0 + ROW * len(rows)
    parts = [
        d.text_tag(links.start, 16, "link to the other stations", "head"),
        d.text_tag(links.start, 31, "correlation", "small"),
        d.text_tag(grades.start, 16, "link to the global rating", "head"),
        d.text_tag(grades.start, 31, "points of 100 per grade", "small"),
        d.text_tag(marks.start, 16, "marks", "head"),
        d.text_tag(marks.start, 31, "middle two thirds; | pass mark", "small"),
        d.line_tag(links(0), top - 6, links(0), bottom, "zero"),
        d.line_tag(grades(0), top - 6, grades(0), bottom, "zero"),
        d.axis_tags(links, bottom, 1, 4), d.axis_tags(grades, bottom, 0, 4),
        d.axis_tags(marks, bottom, 0, 4),
        _not_drawn(len(e.stations) - len(rows), "more stations", bottom + 18),
    ]  # fmt: skip
    for i, s in enumerate(rows):
        parts.append(_station_row(s, top + ROW * (i + 0.5), links, grades, marks))
    return d.svg_tag(WIDTH, bottom + 26, _station_label(e), parts)


def _ends(estimates: list[Estimate]) -> list[float]:
    values = [v for x in estimates for v in (x.value, x.low, x.high) if v is not None]
    return [float(v) for v in values]


def _station_row(
    s: StationFigures, y: float, links: d.Scale, grades: d.Scale, marks: d.Scale
) -> str:
    kind = "reach strong" if s.stands_apart else "reach"
    parts = [d.text_tag(0, y + 4, _short(s.station, 15), "strong" if s.stands_apart else "")]
    for scale, x in ((links, s.discrimination), (grades, s.line.slope)):
        parts.append(d.whisker_tags(scale, x.low, x.high, y, kind))
        if x.known:
            parts.append(_mark(scale(x.value), y, s.stands_apart))
    if s.sd == s.sd:
        parts.append(d.band_tag(marks(s.mean - s.sd), marks(s.mean + s.sd), y - 5, y + 5))
    parts.append(d.dot_tag(marks(s.mean), y) if s.mean == s.mean else "")
    if s.line.cut.known:
        cut = marks(s.line.cut.value)
        parts.append(d.line_tag(cut, y - 9, cut, y + 9, "cut"))
    return "".join(parts)


def _mark(x: float, y: float, look: bool) -> str:
    return d.diamond_tag(x, y) if look else d.dot_tag(x, y)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _station_label(e: Sitting) -> str:
    said = [
        f"{s.station}: correlation with the others {s.discrimination.text()}, "
        f"{s.line.slope.text(1)} points per grade"
        + (", stands apart (diamond)" if s.stands_apart else "")
        for s in e.stations[:MOST_ROWS]
    ]
    return "Stations. " + "; ".join(said) + "."


# ---------------------------------------------------------------- examiners


def severity_strip(e: Sitting) -> str:
    """Each examiner beside the average, in points of 100, with the interval; "" if not linked."""
    severity = e.fairness.severity
    if severity is None or not severity.connected:
        return ""
    # Severity counts points taken away; the strip shows points given.
    ordered = sorted(severity.examiners, key=lambda x: -x.points)
    shown = ordered if len(ordered) <= MOST_ROWS else _outermost(ordered)
    named = {*severity.severe, *severity.lenient}
    reach = max(1.0, *(abs(v) for x in shown for v in (x.low, x.high) if v == v))
    scale = d.roomy_scale(-reach, reach, 118, WIDTH - 150)
    row, top = 22.0, 30.0
    bottom = top + row * len(shown)
    parts = [
        d.text_tag(scale.start, 14, "gives fewer marks", "head"),
        d.text_tag(scale.stop, 14, "gives more marks", "head", "end"),
        d.line_tag(scale(0), top - 8, scale(0), bottom, "zero"),
        d.axis_tags(scale, bottom, 0, 6),
        d.text_tag((scale.start + scale.stop) / 2, bottom + 34,
                "points of 100 beside the average examiner", "small", "middle"),
        _not_drawn(len(ordered) - len(shown), "examiners between these", bottom + 34),
    ]  # fmt: skip
    for i, x in enumerate(shown):
        parts.append(_examiner_row(x, top + row * (i + 0.5), scale, x.examiner in named))
    label = _examiner_label(shown, named, len(ordered) - len(shown))
    return d.svg_tag(WIDTH, bottom + 42, label, parts)


def _not_drawn(many: int, what: str, y: float) -> str:
    """What a picture leaves out is said in it."""
    return d.text_tag(0, y, f"{many:,} {what}: table", "small") if many > 0 else ""


def _outermost(ordered: list[MarkShift]) -> list[MarkShift]:
    half = MOST_ROWS // 2
    return [*ordered[:half], *ordered[-half:]]


def _examiner_row(x: MarkShift, y: float, scale: d.Scale, named: bool) -> str:
    text = f"{-x.points:+z.1f}" + ("  look" if named else "")
    return "".join(
        [
            d.text_tag(0, y + 4, _short(x.examiner, 15), "strong" if named else ""),
            d.whisker_tags(scale, -x.high, -x.low, y, "reach strong" if named else "reach"),
            _mark(scale(-x.points), y, named),
            d.text_tag(scale.stop + 14, y + 4, text, "strong" if named else "small"),
        ]
    )


def _examiner_label(shown: list[MarkShift], named: set[str], more: int) -> str:
    said = [
        f"{x.examiner} {-x.points:+z.1f} ({-x.high:.1f} to {-x.low:.1f})"
        + (", named by the rule (diamond)" if x.examiner in named else "")
        for x in shown
    ]
    rest = f"; {more:,} between these not drawn" if more > 0 else ""
    return "Examiners, points of 100 beside the average: " + "; ".join(said) + f"{rest}."


# ---------------------------------------------------------------- students near the mark


def near_picture(e: Sitting) -> str:
    """Every total as a dot over its mark, then the students near it; "" without a pass mark."""
    totals = np.array([r.total for r in e.results if r.total == r.total])
    if not totals.size or e.rule.applied != e.rule.applied:
        return ""
    near = e.near[:MOST_ROWS]
    more = len(e.near) - len(near)
    # Room for the lines of those drawn: a line cut at the edge would look shorter than it is.
    ends = [r.total + side * e.rule.sem for r in near for side in (-1, 1)]
    ends = [end for end in ends if end == end] + [e.rule.applied - 2, e.rule.applied + 2]
    low, high = min(float(totals.min()), *ends), max(float(totals.max()), *ends)
    scale = d.roomy_scale(low, high, 118, WIDTH - 170)
    crowd = _crowd(totals, scale)
    top = 34.0 + crowd.height
    bottom = top + 16 + ROW * (len(near) + bool(more))
    cut = scale(e.rule.applied)
    reach = _mark_reach(e)
    interval = f" ({reach[0]:.1f} to {reach[1]:.1f})" if reach else ""
    parts = [
        d.band_tag(scale(reach[0]), scale(reach[1]), 22, bottom) if reach else "",
        d.line_tag(cut, 22, cut, bottom, "cut"),
        d.text_tag(cut, 14, f"pass mark {e.rule.applied:.1f}{interval}", "head", "middle"),
        d.text_tag(0, top - 4, "all students", "small"),
        *[d.dot_tag(x, top - 6 - y, 2.6, "crowd") for x, y in crowd.places],
        d.axis_tags(scale, bottom, 0, 6),
        d.text_tag((scale.start + scale.stop) / 2, bottom + 34,
                "total, percent; line: one standard error of measurement", "small", "middle"),
    ]  # fmt: skip
    for i, r in enumerate(near):
        parts.append(_near_row(r, top + 16 + ROW * (i + 0.5), scale, e.rule.sem))
    if more:
        text = f"{more:,} more near the border: see the table"
        parts.append(d.text_tag(0, bottom - ROW / 2 + 4, text, "small"))
    return d.svg_tag(WIDTH, bottom + 42, _near_label(e), parts)


def _mark_reach(e: Sitting) -> list[float]:
    """The ends of the deciding mark's interval, or nothing."""
    ends = [end for end in (e.deciding.cut.low, e.deciding.cut.high) if end is not None]
    known = len(ends) == 2 and all(end == end for end in ends)
    return [end + e.rule.added for end in ends] if known else []


@dataclass(frozen=True, slots=True)
class _Crowd:
    places: list[tuple[float, float]]
    height: float


def _crowd(totals: Array, scale: d.Scale) -> _Crowd:
    """Dots stacked in columns seven pixels wide; a column never grows beyond 84 pixels."""
    column = np.round([(scale(float(v)) - scale.start) / 7 for v in np.sort(totals)]).astype(int)
    height = np.bincount(column).max()
    step = min(6.5, 84 / max(1, height))
    seen: dict[int, int] = {}
    places = []
    for c in column:
        seen[int(c)] = seen.get(int(c), -1) + 1
        places.append((scale.start + 7.0 * c, seen[int(c)] * step))
    return _Crowd(places, float(height * step))


def _near_row(r: StudentResult, y: float, scale: d.Scale, sem: float) -> str:
    said = f"{r.total:.1f}, {r.decision} ({percent_text(r.other)})"
    return "".join(
        [
            d.text_tag(0, y + 4, _short(r.student, 15), "strong"),
            d.whisker_tags(scale, r.total - sem, r.total + sem, y, "reach strong"),
            d.diamond_tag(scale(r.total), y),
            d.text_tag(scale.stop + 14, y + 4, said),
        ]
    )  # fmt: skip


def _near_label(e: Sitting) -> str:
    if not e.near:
        return f"No student is near the pass mark of {e.rule.applied:.1f} percent."
    said = [
        f"{r.student} {r.total:.1f}, {r.decision}, chance of the other {percent_text(r.other)}"
        for r in e.near[:MOST_ROWS]
    ]
    more = len(e.near) - len(said)
    rest = f"; and {more:,} more not drawn" if more > 0 else ""
    return f"Pass mark {e.rule.applied:.1f} percent. Near it: " + "; ".join(said) + f"{rest}."


# ---------------------------------------------------------------- projection


def _below_lines(point: float, line: float) -> float:
    """Where the words about a point stand: below it, and below a line that would cross them."""
    place = point + 22
    return line + 16 if place - 14 < line < place + 5 else place


def projection_curve(e: Sitting) -> str:
    """Reliability against the number of stations; "" when it could not be computed."""
    r = e.fairness.reliability
    if r is None or not r.projection:
        return ""
    rows = [p for p in r.projection if p.examiners == r.projection[0].examiners]
    last = max(p.stations for p in rows)
    x = d.Scale(0, last, 60, WIDTH - 130)
    y = d.Scale(0, 1, 250, 24)
    have, found = len(e.table.stations), reliability_of(e)
    wanted, now = e.options.wanted, f"now: {have} stations, {found.value:.2f}"
    parts = [
        *_grid(x, y),
        d.line_tag(x.start, y(wanted), x.stop, y(wanted), "wanted"),
        _curve([(x(p.stations), y(p.relative)) for p in rows], "curve"),
        _curve([(x(p.stations), y(p.absolute)) for p in rows], "curve second"),
        _upright(x(have), y, found),
        d.diamond_tag(x(have), y(found.value)),
        d.text_tag(x(have) + 11, _below_lines(y(found.value), y(wanted)), now, "strong"),
        d.text_tag((x.start + x.stop) / 2, 288, "stations", "small", "middle"),
        d.text_tag(0, 14, "reliability", "head"),
        *d.labels_beside(x.stop + 8, [
            (y(wanted), f"{wanted:g} asked"), (y(rows[-1].relative), "these stations"),
            (y(rows[-1].absolute), "other stations"),
        ]),
    ]  # fmt: skip
    if r.needed is not None and r.needed <= last and r.relative < wanted:
        parts.append(d.line_tag(x(r.needed), y(wanted), x(r.needed), y.start, "wanted"))
        parts.append(d.text_tag(x(r.needed) + 5, y.start - 8, f"{r.needed} stations", "strong"))
    return d.svg_tag(WIDTH, 294, _projection_label(e, have, found), parts)


def _grid(x: d.Scale, y: d.Scale) -> list[str]:
    parts = [d.axis_tags(x, y.start, 0, 6)]
    for value in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        parts.append(d.line_tag(x.start, y(value), x.stop, y(value), "faint"))
        parts.append(d.text_tag(x.start - 8, y(value) + 4, f"{value:.1f}", "small", "end"))
    return parts


def _curve(points: list[tuple[float, float]], kind: str) -> str:
    joined = " ".join(f"{d.pixels(a)},{d.pixels(b)}" for a, b in points)
    return f'<polyline class="{kind}" points="{joined}"/>'


def _upright(x: float, y: d.Scale, found: Estimate) -> str:
    if found.low is None or found.high is None:
        return ""
    low, high = y(found.low), y(found.high)
    ends = [d.line_tag(x - 4, v, x + 4, v, "reach strong") for v in (low, high)]
    return "".join([d.line_tag(x, low, x, high, "reach strong"), *ends])


def _projection_label(e: Sitting, have: int, found: Estimate) -> str:
    r = e.fairness.reliability
    needed = r.needed if r is not None else None
    more = f"{needed} stations reach" if needed is not None else "no number of stations reaches"
    return (
        f"Reliability against number of stations: {found.text()} with {have}; {more} "
        f"{e.options.wanted:g}."
    )
