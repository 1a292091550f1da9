"""Whether the visits under one code are of one person: sex, writing hand and age tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from sidewise.measure.sides.readings import written_day
from sidewise.record import Context, Record

DAYS_IN_YEAR = 365.25
AGE_TOLERANCE = 1.0
"""Ages are written in whole years: two of them may be a year off the time between the visits."""
SEX = {"female": "woman", "male": "man"}


def person_doubts(records: Sequence[Record]) -> tuple[str, ...]:
    """What speaks against the visits being of one person, a sentence for each pair in time.

    Nothing is concluded from what a visit does not state. A child's writing hand or a stated sex
    may be corrected, so this asks; it refuses nothing.
    """
    ordered = sorted(records, key=lambda record: record.context.examined_at)
    return tuple(
        sentence
        for earlier, later in pairwise(record.context for record in ordered)
        for sentence in _doubts(earlier, later)
    )


def _doubts(earlier: Context, later: Context) -> Iterator[str]:
    if _differs(earlier, later):
        yield (
            f"Another person? {written_day(earlier.examined_at)}: {_words(earlier)}; "
            f"{written_day(later.examined_at)}: {_words(later)}. "
            "See whether a visit stands under the wrong patient."
        )


def _differs(earlier: Context, later: Context) -> bool:
    stated = [(earlier.sex, later.sex), (earlier.dominant, later.dominant)]
    if any(before and after and before != after for before, after in stated):
        return True
    if earlier.age is None or later.age is None:
        return False
    years = (later.examined_at - earlier.examined_at).days / DAYS_IN_YEAR
    return abs(later.age - earlier.age - years) > AGE_TOLERANCE


def _words(context: Context) -> str:
    parts = [
        "" if context.age is None else f"{context.age:g}",
        SEX.get(context.sex or "", ""),
        f"{context.dominant}-handed" if context.dominant else "",
    ]
    return ", ".join(part for part in parts if part)
