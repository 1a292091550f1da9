"""The picture of a follow-up: two bars from one spine for the sides, a course line for visits.

The patient faces the reader: the patient's right is on the left of the page, as at the bedside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor

from sidewise.measure.differences import SideDifference
from sidewise.measure.draw import (
    ACCENT,
    ACCENT_SOFT,
    GHOST,
    INK,
    PAPER,
    QUIET,
    RULE,
    Anchor,
    Area,
    Dot,
    Picture,
    Place,
    Shape,
    Stroke,
    Words,
    diamond,
    line,
    rectangle,
    wrapped,
)
from sidewise.measure.visits import Followed, FollowUp, VisitReading
from sidewise.record.values import LEVELS

WIDTH, MARGIN, SPINE = 960.0, 40.0, 480.0
REACH = 300.0  # Length of a bar at the end of its scale.
ROW, PANEL_HEIGHT, PANEL_WIDTH = 92.0, 150.0, 400.0
BAR = 18.0
LETTERS = 62  # Of a 13 px line that fits a panel; measured on the widest of the fonts named.


@dataclass(frozen=True, slots=True)
class Block:
    """Shapes and the height they take."""

    shapes: tuple[Shape, ...]
    height: float


def follow_picture(found: FollowUp) -> Picture:
    """The whole follow-up on one sheet: the sides at the last visit, then the course of each."""
    y, shapes = 92.0, list(_heading(found))
    for block in _blocks(found, y):
        shapes.extend(block.shapes)
        y += block.height
    shapes.append(
        Words(
            "Supports a licensed clinician; does not diagnose. Error bands hold 95%.",
            Place(MARGIN, y + 14),
            12,
            QUIET,
        )
    )
    title = f"{found.patient}: course over {len(found.dates)} visits"
    return Picture(WIDTH, y + 36, title, _spoken(found), tuple(shapes))


def difference_picture(found: Sequence[SideDifference], title: str) -> Picture:
    """Two bars from one spine for each side difference."""
    shapes: list[Shape] = [Words(title, Place(MARGIN, 46), 20, bold=True)]
    y = 70.0
    block = _sides(found, y)
    shapes.extend(block.shapes)
    words = " ".join(difference.sentence for difference in found)
    return Picture(WIDTH, y + block.height + 16, title, words, tuple(shapes))


def change_picture(followed: Followed, found: FollowUp) -> Picture:
    """The course of one measure on one side."""
    head = _course_heading(16)
    block = _panel(followed, [followed], found, MARGIN, 92)
    title = f"{found.patient}: patient's {followed.side} {followed.label}"
    shapes = (*head, *block.shapes)
    return Picture(WIDTH, 92 + block.height + 16, title, followed.sentence, shapes)


def _heading(found: FollowUp) -> Iterator[Shape]:
    yield Words(f"{found.patient}: {len(found.dates)} visits", Place(MARGIN, 46), 22, bold=True)
    days = ", ".join(f"{day:%-d %b %Y}" for day in found.dates)
    yield Words(days, Place(MARGIN, 70), 13, QUIET)


def _blocks(found: FollowUp, top: float) -> Iterator[Block]:
    y = top
    if found.differences:
        title = Words("Sides at the last visit", Place(MARGIN, y + 20), 16, bold=True)
        yield Block((title,), 28)
        block = _sides(found.differences, y + 28)
        yield Block(block.shapes, block.height + 24)
        y += 28 + block.height + 24
    if found.followed:
        head = (*_course_heading(y),)
        yield Block(head, 64)
        y += 64
    for pair in _mirrored_pairs(found.followed):
        block = _course_row(pair, found, y)
        yield block
        y += block.height


def _sides(found: Sequence[SideDifference], top: float) -> Block:
    shapes: list[Shape] = [
        Words("patient's RIGHT", Place(SPINE - REACH, top + 18), 12, QUIET),
        Words("you face the patient", Place(SPINE, top + 18), 12, QUIET, "middle"),
        Words("patient's LEFT", Place(SPINE + REACH, top + 18), 12, QUIET, "end"),
        rectangle(MARGIN, top + 26, 22, 9, GHOST, RULE),
        Words("where this side would count as equal", Place(MARGIN + 30, top + 35), 12, QUIET),
    ]
    y = top + 44
    for difference in found:
        shapes.extend(_two_bars(difference, y))
        y += ROW
    return Block(tuple(shapes), y - top)


def _two_bars(d: SideDifference, top: float) -> Iterator[Shape]:
    mode = f", {d.mode}" if d.mode else ""
    label = d.label[0].upper() + d.label[1:]
    yield Words(f"{label}{mode}", Place(SPINE, top + 14), 14, INK, "middle", bold=True)
    y = top + 26
    scale = REACH / _full(d)
    yield from _one_bar(d, y, scale, "right")
    yield from _one_bar(d, y, scale, "left")
    yield line(SPINE, y - 5, SPINE, y + BAR + 5, INK, 1.6)
    yield from _verdict(d, y + BAR + 22)


def _one_bar(d: SideDifference, y: float, scale: float, side: str) -> Iterator[Shape]:
    sign = -1.0 if side == "right" else 1.0
    own, shown = (d.right, d.right_shown) if side == "right" else (d.left, d.left_shown)
    other = d.left if side == "right" else d.right
    length = max(own, 0.0) * scale
    if d.band:
        low, high = d.band.low, d.band.high
        edges = (other - high, other - low) if side == "right" else (other + low, other + high)
        yield from _ghost(edges[0] * scale, edges[1] * scale, other * scale, sign, y)
    fill = ACCENT if d.real and _is_less(d, side) else ACCENT_SOFT
    x = SPINE if sign > 0 else SPINE - length
    yield rectangle(x, y, length, BAR, fill, ACCENT)
    anchor: Anchor = "start" if sign > 0 else "end"
    at = SPINE + sign * (max(length, min(_top(d, side), _full(d)) * scale) + 10)
    unit = "°" if d.unit == "deg" else "" if d.unit == "level" else f" {d.unit}"
    yield Words(f"{shown}{unit}", Place(at, y + 14), 15, INK, anchor, bold=True)


def _ghost(low: float, high: float, middle: float, sign: float, y: float) -> Iterator[Shape]:
    low, high = max(low, 0.0), min(max(high, 0.0), REACH)
    x = SPINE + (low if sign > 0 else -high)
    yield rectangle(x, y - 5, high - low, BAR + 10, GHOST, RULE)
    at = SPINE + sign * min(max(middle, 0.0), REACH)
    yield Stroke((Place(at, y - 5), Place(at, y + BAR + 5)), QUIET, 1.4, dashed=True)


def _top(d: SideDifference, side: str) -> float:
    if d.band is None:
        return 0.0
    return d.left - d.band.low if side == "right" else d.right + d.band.high


def _is_less(d: SideDifference, side: str) -> bool:
    return (d.left < d.right) == (side == "left")


def _verdict(d: SideDifference, y: float) -> Iterator[Shape]:
    if d.real is None:
        words = d.sentence.split(". ", 1)[-1]
        yield Words(wrapped(words, 110)[0], Place(SPINE, y), 13, QUIET, "middle")
        return
    lower = "left" if d.difference < 0 else "right"
    gap = f"{lower} reads {abs(d.difference):.0f} less" if d.difference else "no difference"
    word = "a real difference" if d.real else "not a real difference"
    text = f"{gap}: {word} (real when over {d.threshold:.0f})"
    half = len(text) * (3.3 if d.real else 2.9) + 14
    mark = Place(SPINE - half, y - 4)
    yield diamond(mark, 5, ACCENT, ACCENT) if d.real else Dot(mark, 5, PAPER, QUIET)
    yield Words(
        text, Place(SPINE + 8, y), 13, INK if d.real else QUIET, "middle", bold=bool(d.real)
    )


def _full(d: SideDifference) -> float:
    most = max(d.left, d.right, 1.0)
    if d.unit == "deg":
        return 90.0 if most <= 75 else 180.0
    return 20.0 if d.unit == "level" else most * 1.25


def _course_heading(y: float) -> Iterator[Shape]:
    yield Words("Course", Place(MARGIN, y + 20), 16, bold=True)
    base = y + 42
    yield rectangle(MARGIN, base - 9, 22, 10, GHOST, RULE)
    yield Words("error of measuring around the first reading", Place(MARGIN + 30, base), 12, QUIET)
    yield diamond(Place(MARGIN + 322, base - 4), 5, ACCENT, ACCENT)
    yield Words("really changed since then", Place(MARGIN + 334, base), 12, QUIET)
    yield Dot(Place(MARGIN + 512, base - 4), 5, PAPER, INK)
    yield Words("within error", Place(MARGIN + 524, base), 12, QUIET)
    yield rectangle(MARGIN + 620, base - 9, 22, 10, ACCENT_SOFT)
    yield Words("smoothed course, three visits or more", Place(MARGIN + 650, base), 12, QUIET)


def _mirrored_pairs(found: Sequence[Followed]) -> Iterator[tuple[Followed | None, Followed | None]]:
    ways = dict.fromkeys((f.item, f.mode, f.unit) for f in found)
    for way in ways:
        sides = {f.side: f for f in found if (f.item, f.mode, f.unit) == way}
        yield sides.get("right"), sides.get("left")


def _course_row(
    pair: tuple[Followed | None, Followed | None], found: FollowUp, top: float
) -> Block:
    columns = (MARGIN, WIDTH - MARGIN - PANEL_WIDTH)
    drawn = [
        _panel(followed, [f for f in pair if f], found, x, top)
        for followed, x in zip(pair, columns, strict=True)
        if followed
    ]
    return Block(
        tuple(shape for block in drawn for shape in block.shapes),
        max((block.height for block in drawn), default=0) + 22,
    )


def _panel(
    f: Followed, pair: Sequence[Followed], found: FollowUp, left: float, top: float
) -> Block:
    mode = f", {f.mode}" if f.mode else ""
    title = f"Patient's {f.side.upper()}: {f.label.lower()}{mode}"
    shapes: list[Shape] = [
        Words(title, Place(left, top + 16), 14 if len(title) <= 58 else 12, bold=True)
    ]
    axes = _axes_of(pair, found, left + 40, top + 30)
    shapes.extend(axes.frame())
    shapes.extend(_course_shapes(f, axes))
    y = top + 30 + PANEL_HEIGHT + 40
    for text in wrapped(_below(f), LETTERS):
        shapes.append(Words(text, Place(left, y), 12.5, INK if f.overall.real else QUIET))
        y += 17
    return Block(tuple(shapes), y - top)


def _below(f: Followed) -> str:
    return f.sentence.split(": ", 1)[-1][:1].upper() + f.sentence.split(": ", 1)[-1][1:]


@dataclass(frozen=True, slots=True)
class _Axes:
    left: float
    top: float
    width: float
    height: float
    days: tuple[int, ...]
    labels: tuple[str, ...]
    low: float
    high: float
    step: float
    unit: str

    def place(self, visit: int, number: float) -> Place:
        span = max(self.days[-1], 1)
        x = self.left + 16 + (self.width - 32) * self.days[visit] / span
        share = (number - self.low) / (self.high - self.low)
        return Place(x, self.top + self.height * (1 - min(max(share, 0.0), 1.0)))

    def shown(self, number: float) -> str:
        if self.unit == "level":
            return LEVELS[int(number)] if 0 <= number < len(LEVELS) else ""
        return f"{number:g}{'°' if self.unit == 'deg' else ''}"

    def frame(self) -> Iterator[Shape]:
        number = self.low
        while number <= self.high + 1e-9:
            y = self.place(0, number).y
            yield line(self.left, y, self.left + self.width, y, RULE, 0.6)
            yield Words(self.shown(number), Place(self.left - 8, y + 4), 11, QUIET, "end")
            number += self.step
        last = -1e9
        for visit, label in enumerate(self.labels):
            x = self.place(visit, self.low).x
            yield line(x, self.top + self.height, x, self.top + self.height + 4, QUIET)
            if x - last > 56:  # Dates nearer than this would run into each other.
                yield Words(label, Place(x, self.top + self.height + 18), 11, QUIET, "middle")
                last = x


def _axes_of(pair: Sequence[Followed], found: FollowUp, left: float, top: float) -> _Axes:
    # Both sides of one movement share a scale, or the smaller change would look like the larger.
    numbers = [number for f in pair for number in _extent(f)]
    step = _step(max(numbers) - min(numbers))
    low, high = step * floor(min(numbers) / step), step * ceil(max(numbers) / step)
    low = max(low, 0.0) if pair[0].unit == "level" else low
    days = tuple((day - found.dates[0]).days for day in found.dates)
    labels = tuple(f"{day:%-d %b}" for day in found.dates)
    high = max(high, low + step)
    size = (PANEL_WIDTH - 40, PANEL_HEIGHT)
    return _Axes(left, top, *size, days, labels, low, high, step, pair[0].unit)


def _extent(f: Followed) -> Iterator[float]:
    reach = max((change.threshold or 0.0 for change in f.since_first), default=0.0)
    first = f.readings[0].number
    yield from (first - reach, first + reach)
    yield from (reading.number for reading in f.readings)
    yield from (number for point in f.course for number in (point.low, point.high))


def _step(span: float) -> float:
    return next((step for step in (1, 2, 5, 10, 20, 30, 50, 100) if span / step <= 6), 200)


def _course_shapes(f: Followed, axes: _Axes) -> Iterator[Shape]:
    yield from _first_reading_band(f, axes)
    if f.course:
        upper = [axes.place(point.visit, point.high) for point in f.course]
        lower = [axes.place(point.visit, point.low) for point in f.course]
        yield Area((*upper, *reversed(lower)), ACCENT_SOFT, opacity=0.7)
        yield Stroke(tuple(axes.place(p.visit, p.level) for p in f.course), ACCENT, 2.2)
    else:
        yield Stroke(tuple(axes.place(r.visit, r.number) for r in f.readings), ACCENT, 1.6)
    for reading in f.readings:
        yield from _reading_mark(f, reading, axes)


def _first_reading_band(f: Followed, axes: _Axes) -> Iterator[Shape]:
    first, later = f.readings[0], f.readings[1:]
    reaches = [_threshold(f, reading) for reading in later]
    if None in reaches:
        return
    edges = [
        (first.visit, reaches[0]),
        *((r.visit, t) for r, t in zip(later, reaches, strict=True)),
    ]
    upper = [axes.place(visit, first.number + (reach or 0.0)) for visit, reach in edges]
    lower = [axes.place(visit, first.number - (reach or 0.0)) for visit, reach in edges]
    yield Area((*upper, *reversed(lower)), GHOST, RULE)


def _threshold(f: Followed, reading: VisitReading) -> float | None:
    return next((c.threshold for c in f.since_first if c.later == reading.visit), None)


def _reading_mark(f: Followed, reading: VisitReading, axes: _Axes) -> Iterator[Shape]:
    at = axes.place(reading.visit, reading.number)
    changed = any(c.real for c in f.since_first if c.later == reading.visit)
    yield diamond(at, 5.5, ACCENT, PAPER) if changed else Dot(at, 5, PAPER, INK)
    yield Words(reading.shown, Place(at.x + 9, at.y - 7), 12.5, INK, "start", bold=True)


def _spoken(found: FollowUp) -> str:
    parts = [f.sentence for f in found.followed] + [d.sentence for d in found.differences]
    return " ".join([found.sentence, *parts])
