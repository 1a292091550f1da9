"""The course of one measure as a panel: the error of the first reading, readings, smoothed line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil, floor

from sidewise.ground.svg.shapes import (
    ACCENT,
    ACCENT_SOFT,
    GHOST,
    INK,
    MARGIN,
    PAPER,
    QUIET,
    RULE,
    WIDTH,
    Area,
    Block,
    Dot,
    Place,
    Shape,
    Stroke,
    Words,
    diamond,
    line,
    rectangle,
    wrapped,
)
from sidewise.measure.visits.results import Followed, FollowUp, VisitReading

PANEL_HEIGHT, PANEL_WIDTH = 150.0, 400.0
LETTERS = 62  # Of a 13 px line that fits a panel; measured on the widest of the fonts named.


def course_heading(y: float) -> Iterator[Shape]:
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


def mirrored_pairs(found: Sequence[Followed]) -> Iterator[tuple[Followed | None, Followed | None]]:
    ways = dict.fromkeys((f.item, f.mode, f.unit) for f in found)
    for way in ways:
        sides = {f.side: f for f in found if (f.item, f.mode, f.unit) == way}
        yield sides.get("right"), sides.get("left")


def course_row(pair: tuple[Followed | None, Followed | None], found: FollowUp, top: float) -> Block:
    columns = (MARGIN, WIDTH - MARGIN - PANEL_WIDTH)
    drawn = [
        course_panel(followed, [f for f in pair if f], found, x, top)
        for followed, x in zip(pair, columns, strict=True)
        if followed
    ]
    return Block(
        tuple(shape for block in drawn for shape in block.shapes),
        max((block.height for block in drawn), default=0) + 22,
    )


def course_panel(
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
    ladder: tuple[str, ...]

    def place(self, visit: int, number: float) -> Place:
        span = max(self.days[-1], 1)
        x = self.left + 16 + (self.width - 32) * self.days[visit] / span
        share = (number - self.low) / (self.high - self.low)
        return Place(x, self.top + self.height * (1 - min(max(share, 0.0), 1.0)))

    def shown(self, number: float) -> str:
        if self.ladder:
            return self.ladder[int(number)] if 0 <= number < len(self.ladder) else ""
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
    low = max(low, 0.0) if pair[0].ladder else low
    days = tuple((day - found.dates[0]).days for day in found.dates)
    labels = tuple(f"{day.day} {day:%b}" for day in found.dates)
    high = max(high, low + step)
    size = (PANEL_WIDTH - 40, PANEL_HEIGHT)
    return _Axes(left, top, *size, days, labels, low, high, step, pair[0].unit, pair[0].ladder)


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
