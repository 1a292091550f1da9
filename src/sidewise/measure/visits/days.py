"""Visits of one day: readings of the same day are repeats, between which nothing has changed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from sidewise.measure.sides.readings import written_day
from sidewise.record import Record

ONE_DAY = (
    "The visits are of one day: their readings are repeats, between which no change is worked out."
)


def latest_of_each_day(records: Sequence[Record]) -> tuple[Record, ...]:
    """The last visit of every day, in order of time.

    Not the mean of a day: two visits of a day may be before and after something that was done.
    """
    last: dict[date, Record] = {}
    for record in sorted(records, key=lambda one: one.context.examined_at):
        last[record.context.examined_at.date()] = record
    return tuple(last.values())


def passed_over(records: Sequence[Record]) -> str:
    """Which days had several visits, and which of them stands in the course; "" where none had."""
    days = [record.context.examined_at for record in latest_of_each_day(records)]
    counts = [sum(r.context.examined_at.date() == day.date() for r in records) for day in days]
    several = [
        f"{count} visits on {written_day(day)}, of which the latest stands in the course"
        for day, count in zip(days, counts, strict=True)
        if count > 1
    ]
    return f"{'; '.join(several)}." if several else ""
