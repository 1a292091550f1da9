"""A thousand lines composed in the orders in which people write, against what was meant."""

from __future__ import annotations

from functools import cache

from sidewise.record.line import LineReading, read_line
from tests.record.composed import Composed, composed
from tests.shoulder import SHOULDER

LINES = composed(seed=20260912, number=1000)
MOST_ASKED = 300
"""Lines that raise a question: a side, mode or grade was left out, or a name has two meanings."""


@cache
def readings() -> tuple[LineReading, ...]:
    """How each of the lines is read, once."""
    return tuple(read_line(made.line, SHOULDER) for made in LINES)


def fault(made: Composed, reading: LineReading) -> str:
    """What is wrong with how a line is read; empty where all is recorded as meant, or asked."""
    if reading.not_understood:
        return f"not understood: {reading.not_understood[0].why}"
    if wrong := [finding for finding in reading.findings if finding not in made.meant]:
        return f"recorded wrongly: {wrong}"
    offered = {f for q in reading.questions for choice in q.choices for f in choice.findings}
    if lost := [f for f in made.meant if f not in reading.findings and f not in offered]:
        return f"neither recorded nor offered: {lost}"
    return ""


def test_a_thousand_composed_lines_are_read_as_meant_or_asked() -> None:
    both = zip(LINES, readings(), strict=True)
    faults = [(made.line, why) for made, reading in both if (why := fault(made, reading))]
    assert faults == []
    assert len({made.line for made in LINES}) > 950
    assert sum(len(made.meant) for made in LINES) > 1500


def test_most_of_them_are_read_without_a_question() -> None:
    assert sum(bool(reading.questions) for reading in readings()) <= MOST_ASKED
