"""Two bars from one spine: where an angle ends on its scale, and the other side as a ghost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sidewise.ground.language import mark_text, say_number, say_text, term
from sidewise.kinds.angle import AngleLimits
from sidewise.measure import side_differences, tables_of
from sidewise.measure.sides.differences import SideDifference
from sidewise.protocol import Item, protocol_of
from sidewise.record import Record
from sidewise.web.examinations.state import Current

LENGTH = 100.0
"""Of a whole scale in the drawing's own units; the page stretches it."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One side's value, and the other side's with its band of error, along the scale."""

    reach: float
    ghost: float | None
    ghost_low: float
    ghost_width: float
    said: str


def bar_of(
    now: Current, item: Item, side: str, mode: str | None, values: dict[str, Any]
) -> Bar | None:
    """The bar of a measured angle, or None where no angle stands."""
    value, limits = values.get("angle"), item.kind("angle")
    if value is None or not isinstance(limits, AngleLimits):
        return None
    low, high = limits.low, limits.high

    def along(degrees: float) -> float:
        return LENGTH * min(1.0, max(0.0, (degrees - low) / (high - low)))

    found = _difference(now, item, mode)
    said = say_text("{number} of {limit} degrees", number=float(value.degrees), limit=float(high))
    if found is None:
        return Bar(along(value.degrees), None, 0, 0, said)
    other = found.right if side == "left" else found.left
    error = found.error or 0.0
    start, end = along(other - error), along(other + error)
    return Bar(along(value.degrees), along(other), start, end - start, said)


@dataclass(frozen=True, slots=True)
class DifferenceWords:
    """A difference in few words for the row, and in full."""

    short: str
    sentence: str
    real: bool


REAL = mark_text("real difference {size} (real when over {limit})")
NOT_REAL = mark_text("no real difference, {size} (real when over {limit})")


def difference_words(now: Current, item: Item) -> tuple[DifferenceWords, ...]:
    """What the differences of this item amount to; nothing where none can be told."""
    if not item.kind("angle") and not item.kind("force"):
        return ()
    return tuple(_told(d) for d in _differences(now, item) if d.difference)


def _told(d: SideDifference) -> DifferenceWords:
    if d.real is None or d.threshold is None:
        return DifferenceWords(d.sentence, d.sentence, real=False)
    unit = "°" if d.unit == "deg" else f" {d.unit}"
    mode = f"{term(d.mode)}: " if d.mode else ""
    size = f"{say_number(abs(d.difference))}{unit}"
    words = REAL if d.real else NOT_REAL
    said = say_text(words, size=size, limit=f"{d.threshold:.0f}")
    return DifferenceWords(f"{mode}{said}", d.sentence, d.real)


def _difference(now: Current, item: Item, mode: str | None) -> SideDifference | None:
    return next((d for d in _differences(now, item) if d.mode == mode and d.unit == "deg"), None)


def _differences(now: Current, item: Item) -> tuple[SideDifference, ...]:
    found: tuple[SideDifference, ...] = now.once(item.id, lambda: _worked_out(now, item))
    return found


def _worked_out(now: Current, item: Item) -> tuple[SideDifference, ...]:
    findings = tuple(
        f for places in now.record.settled.values() for f in places if f.item == item.id
    )
    if len(findings) < 2 or not any(f.instrument for f in findings):
        return ()
    whole = now.record
    part = Record(id=whole.id, region=whole.region, context=whole.context, findings=findings)
    return side_differences(part, protocol_of(now.region), tables_of(now.region))
