"""The picture of a follow-up: two bars from one spine for the sides, a course line for visits.

The patient faces the reader: the patient's right is on the left of the page, as at the bedside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

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
    Anchor,
    Block,
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
from sidewise.measure.drawings.course_panels import (
    course_heading,
    course_panel,
    course_row,
    mirrored_pairs,
)
from sidewise.measure.sides.differences import SideDifference
from sidewise.measure.visits.results import Followed, FollowUp

SPINE = WIDTH / 2
REACH = 300.0  # Length of a bar at the end of its scale.
ROW = 92.0
BAR = 18.0


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
    head = course_heading(16)
    block = course_panel(followed, [followed], found, MARGIN, 92)
    title = f"{found.patient}: patient's {followed.side} {followed.label}"
    shapes = (*head, *block.shapes)
    return Picture(WIDTH, 92 + block.height + 16, title, followed.sentence, shapes)


def _heading(found: FollowUp) -> Iterator[Shape]:
    yield Words(f"{found.patient}: {len(found.dates)} visits", Place(MARGIN, 46), 22, bold=True)
    days = ", ".join(f"{day.day} {day:%b %Y}" for day in found.dates)
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
        head = (*course_heading(y),)
        yield Block(head, 64)
        y += 64
    for pair in mirrored_pairs(found.followed):
        block = course_row(pair, found, y)
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


def _spoken(found: FollowUp) -> str:
    parts = [f.sentence for f in found.followed] + [d.sentence for d in found.differences]
    return " ".join([found.sentence, *parts])
