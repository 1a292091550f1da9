"""The four pictures of the report: stations, examiners, students near the mark, projection."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sidewise.assess import drawing as d
from sidewise.assess.answers import reliability_of
from sidewise.assess.estimate import Estimate
from sidewise.assess.examination import Examination
from sidewise.assess.mark_severity import MarkShift
from sidewise.assess.near import StudentResult
from sidewise.assess.stations import StationFigures

WIDTH = 760.0
ROW = 30.0
# More rows than this and only the outermost are drawn; the table has them all.
MOST_ROWS = 40


def _panel(values: list[float], start: float, stop: float) -> d.Scale:
    known = [v for v in values if v == v and abs(v) != np.inf]
    return d.padded(min([0.0, *known]), max([0.0, *known], default=1.0) or 1.0, start, stop)


# ---------------------------------------------------------------- stations


def station_map(e: Examination) -> str:
    """One row per station: its link to the others, its link to the rating, its marks."""
    rows = e.stations[:MOST_ROWS]
    name_end = 118.0
    links = _panel(_ends([s.discrimination for s in rows]), name_end, name_end + 175)
    grades = _panel(_ends([s.line.slope for s in rows]), name_end + 215, name_end + 390)
    marks = d.Scale(0, 100, name_end + 430, WIDTH - 20)
    top, bottom = 44.0, 44.0 + ROW * len(rows)
    parts = [
        d.words(links.start, 16, "link to the other stations", "head"),
        d.words(links.start, 31, "correlation", "small"),
        d.words(grades.start, 16, "link to the global rating", "head"),
        d.words(grades.start, 31, "points of 100 per grade", "small"),
        d.words(marks.start, 16, "marks", "head"),
        d.words(marks.start, 31, "middle two thirds; | pass mark", "small"),
        d.line(links(0), top - 6, links(0), bottom, "zero"),
        d.line(grades(0), top - 6, grades(0), bottom, "zero"),
        d.axis(links, bottom, 1, 4), d.axis(grades, bottom, 0, 4), d.axis(marks, bottom, 0, 4),
    ]  # fmt: skip
    for i, s in enumerate(rows):
        parts.append(_station_row(s, top + ROW * (i + 0.5), links, grades, marks))
    return d.picture(WIDTH, bottom + 26, _station_label(e), parts)


def _ends(estimates: list[Estimate]) -> list[float]:
    values = [v for x in estimates for v in (x.value, x.low, x.high) if v is not None]
    return [float(v) for v in values]


def _station_row(
    s: StationFigures, y: float, links: d.Scale, grades: d.Scale, marks: d.Scale
) -> str:
    kind = "reach strong" if s.stands_apart else "reach"
    parts = [d.words(0, y + 4, _short(s.station, 15), "strong" if s.stands_apart else "")]
    for scale, x in ((links, s.discrimination), (grades, s.line.slope)):
        parts.append(d.whisker(scale, x.low, x.high, y, kind))
        if x.known:
            parts.append(_mark(scale(x.value), y, s.stands_apart))
    if s.sd == s.sd:
        parts.append(d.band(marks(s.mean - s.sd), marks(s.mean + s.sd), y - 5, y + 5))
    parts.append(d.dot(marks(s.mean), y) if s.mean == s.mean else "")
    if s.line.cut.known:
        cut = marks(s.line.cut.value)
        parts.append(d.line(cut, y - 9, cut, y + 9, "cut"))
    return "".join(parts)


def _mark(x: float, y: float, look: bool) -> str:
    return d.diamond(x, y) if look else d.dot(x, y)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else text[: most - 1] + "…"


def _station_label(e: Examination) -> str:
    said = [
        f"{s.station}: correlation with the others {s.discrimination.text()}, "
        f"{s.line.slope.text(1)} points per grade"
        + (", stands apart (diamond)" if s.stands_apart else "")
        for s in e.stations[:MOST_ROWS]
    ]
    return "Stations. " + "; ".join(said) + "."


# ---------------------------------------------------------------- examiners


def severity_strip(e: Examination) -> str:
    """Each examiner beside the average, in points of 100, with the interval; "" if not linked."""
    severity = e.fairness.severity
    if severity is None or not severity.connected:
        return ""
    # Severity counts points taken away; the strip shows points given.
    ordered = sorted(severity.examiners, key=lambda x: -x.points)
    shown = ordered if len(ordered) <= MOST_ROWS else _outermost(ordered)
    named = {*severity.severe, *severity.lenient}
    reach = max(1.0, *(abs(v) for x in shown for v in (x.low, x.high) if v == v))
    scale = d.padded(-reach, reach, 118, WIDTH - 150)
    row, top = 22.0, 30.0
    bottom = top + row * len(shown)
    parts = [
        d.words(scale.start, 14, "gives fewer marks", "head"),
        d.words(scale.stop, 14, "gives more marks", "head", "end"),
        d.line(scale(0), top - 8, scale(0), bottom, "zero"),
        d.axis(scale, bottom, 0, 6),
        d.words((scale.start + scale.stop) / 2, bottom + 34,
                "points of 100 beside the average examiner", "small", "middle"),
    ]  # fmt: skip
    for i, x in enumerate(shown):
        parts.append(_examiner_row(x, top + row * (i + 0.5), scale, x.examiner in named))
    return d.picture(WIDTH, bottom + 42, _examiner_label(shown, named), parts)


def _outermost(ordered: list[MarkShift]) -> list[MarkShift]:
    half = MOST_ROWS // 2
    return [*ordered[:half], *ordered[-half:]]


def _examiner_row(x: MarkShift, y: float, scale: d.Scale, named: bool) -> str:
    text = f"{-x.points:+.1f}" + ("  look" if named else "")
    return "".join(
        [
            d.words(0, y + 4, _short(x.examiner, 15), "strong" if named else ""),
            d.whisker(scale, -x.high, -x.low, y, "reach strong" if named else "reach"),
            _mark(scale(-x.points), y, named),
            d.words(scale.stop + 14, y + 4, text, "strong" if named else "small"),
        ]
    )


def _examiner_label(shown: list[MarkShift], named: set[str]) -> str:
    said = [
        f"{x.examiner} {-x.points:+.1f} ({-x.high:.1f} to {-x.low:.1f})"
        + (", named by the rule (diamond)" if x.examiner in named else "")
        for x in shown
    ]
    return "Examiners, points of 100 beside the average: " + "; ".join(said) + "."


# ---------------------------------------------------------------- students near the mark


def near_picture(e: Examination) -> str:
    """Every total as a dot over its mark, then the students near it; "" without a pass mark."""
    totals = np.array([r.total for r in e.results if r.total == r.total])
    if not totals.size or e.rule.applied != e.rule.applied:
        return ""
    near = e.near[:MOST_ROWS]
    scale = d.padded(
        min(float(totals.min()), e.rule.applied - 2), max(float(totals.max()), e.rule.applied + 2),
        118, WIDTH - 170,
    )  # fmt: skip
    crowd = _crowd(totals, scale)
    top = 34.0 + crowd.height
    bottom = top + 16 + ROW * len(near)
    cut = scale(e.rule.applied)
    reach = _mark_reach(e)
    interval = f" ({reach[0]:.1f} to {reach[1]:.1f})" if reach else ""
    parts = [
        d.band(scale(reach[0]), scale(reach[1]), 22, bottom) if reach else "",
        d.line(cut, 22, cut, bottom, "cut"),
        d.words(cut, 14, f"pass mark {e.rule.applied:.1f}{interval}", "head", "middle"),
        d.words(0, top - 4, "all students", "small"),
        *[d.dot(x, top - 6 - y, 2.6, "crowd") for x, y in crowd.places],
        d.axis(scale, bottom, 0, 6),
        d.words((scale.start + scale.stop) / 2, bottom + 34,
                "total, percent; line: one standard error of measurement", "small", "middle"),
    ]  # fmt: skip
    for i, r in enumerate(near):
        parts.append(_near_row(r, top + 16 + ROW * (i + 0.5), scale, e.rule.sem))
    return d.picture(WIDTH, bottom + 42, _near_label(e), parts)


def _mark_reach(e: Examination) -> list[float]:
    """The ends of the deciding mark's interval, or nothing."""
    ends = [end for end in (e.deciding.cut.low, e.deciding.cut.high) if end is not None]
    known = len(ends) == 2 and all(end == end for end in ends)
    return [end + e.rule.added for end in ends] if known else []


@dataclass(frozen=True, slots=True)
class _Crowd:
    places: list[tuple[float, float]]
    height: float


def _crowd(totals: NDArray[np.float64], scale: d.Scale) -> _Crowd:
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
    said = f"{r.total:.1f}, {r.decision} ({100 * r.other:.0f}%)"
    return "".join(
        [
            d.words(0, y + 4, _short(r.student, 15), "strong"),
            d.whisker(scale, r.total - sem, r.total + sem, y, "reach strong"),
            d.diamond(scale(r.total), y),
            d.words(scale.stop + 14, y + 4, said),
        ]
    )  # fmt: skip


def _near_label(e: Examination) -> str:
    if not e.near:
        return f"No student is near the pass mark of {e.rule.applied:.1f} percent."
    said = [
        f"{r.student} {r.total:.1f}, {r.decision}, other decision {100 * r.other:.0f} percent"
        for r in e.near[:MOST_ROWS]
    ]
    return f"Pass mark {e.rule.applied:.1f} percent. Near it: " + "; ".join(said) + "."


# ---------------------------------------------------------------- projection


def projection_curve(e: Examination) -> str:
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
        d.line(x.start, y(wanted), x.stop, y(wanted), "wanted"),
        d.words(x.stop + 8, y(wanted) + 4, f"{wanted:g} asked", "small"),
        _curve([(x(p.stations), y(p.relative)) for p in rows], "curve"),
        _curve([(x(p.stations), y(p.absolute)) for p in rows], "curve second"),
        _upright(x(have), y, found),
        d.diamond(x(have), y(found.value)),
        d.words(x(have) + 11, y(found.value) + 22, now, "strong"),
        d.words((x.start + x.stop) / 2, 288, "stations", "small", "middle"),
        d.words(0, 14, "reliability", "head"),
        d.words(x.stop + 8, y(rows[-1].relative) - 6, "these stations", "small"),
        d.words(x.stop + 8, y(rows[-1].absolute) + 14, "other stations", "small"),
    ]  # fmt: skip
    if r.needed is not None and r.needed <= last and r.relative < wanted:
        parts.append(d.line(x(r.needed), y(wanted), x(r.needed), y.start, "wanted"))
        parts.append(d.words(x(r.needed) + 5, y.start - 8, f"{r.needed} stations", "strong"))
    return d.picture(WIDTH, 294, _projection_label(e, have, found), parts)


def _grid(x: d.Scale, y: d.Scale) -> list[str]:
    parts = [d.axis(x, y.start, 0, 6)]
    for value in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
        parts.append(d.line(x.start, y(value), x.stop, y(value), "faint"))
        parts.append(d.words(x.start - 8, y(value) + 4, f"{value:.1f}", "small", "end"))
    return parts


def _curve(points: list[tuple[float, float]], kind: str) -> str:
    joined = " ".join(f"{d.px(a)},{d.px(b)}" for a, b in points)
    return f'<polyline class="{kind}" points="{joined}"/>'


def _upright(x: float, y: d.Scale, found: Estimate) -> str:
    if found.low is None or found.high is None:
        return ""
    low, high = y(found.low), y(found.high)
    ends = [d.line(x - 4, v, x + 4, v, "reach strong") for v in (low, high)]
    return "".join([d.line(x, low, x, high, "reach strong"), *ends])


def _projection_label(e: Examination, have: int, found: Estimate) -> str:
    r = e.fairness.reliability
    needed = r.needed if r is not None else None
    more = f"{needed} stations reach" if needed is not None else "no number of stations reaches"
    return (
        f"Reliability against number of stations: {found.text()} with {have}; {more} "
        f"{e.options.wanted:g}."
    )
