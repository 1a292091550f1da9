"""What a follow-up holds: readings, changes, courses, and the sentences that say them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from sidewise.ground.result_view import Shown, View
from sidewise.measure.sides.differences import SideDifference
from sidewise.measure.sides.readings import WORDS, Measurement, number_with_unit, written_day
from sidewise.measure.visits.scales import ScaleChange

DAYS_IN_WEEK = 7.0


@dataclass(frozen=True, slots=True)
class VisitReading:
    """One reading of a measure at one visit, with the error of its instrument."""

    visit: int
    on: date
    number: float
    shown: str
    instrument: str
    examiner: str
    sem: float | None


@dataclass(frozen=True, slots=True)
class MeasureChange:
    """From one visit to a later one; `real` is None where it cannot be judged."""

    earlier: int
    later: int
    change: float
    threshold: float | None
    real: bool | None
    probability: float | None
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CoursePoint:
    """The smoothed level at one visit and its 95% band."""

    visit: int
    level: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Followed:
    """The course of one measure on one side."""

    item: str
    label: str
    side: str
    mode: str | None
    unit: str
    readings: tuple[VisitReading, ...]
    steps: tuple[MeasureChange, ...]
    since_first: tuple[MeasureChange, ...]
    course: tuple[CoursePoint, ...]
    not_measured: tuple[int, ...]
    sentence: str
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
    ladder: tuple[str, ...] = ()

    @property
    def overall(self) -> MeasureChange:
        """From the first reading to the last."""
        return self.since_first[-1]


@dataclass(frozen=True, slots=True, repr=False)
class FollowUp(Shown):
    """Everything `follow` says of one person's visits."""

    patient: str
    dates: tuple[date, ...]
    followed: tuple[Followed, ...]
    scales: tuple[ScaleChange, ...]
    differences: tuple[SideDifference, ...]
    only_once: tuple[str, ...]
    sentence: str
    doubts: tuple[str, ...] = ()

    def view(self) -> View:
        """What is shown of it in a line, as frames and in a notebook."""
        from sidewise.measure.visits.view import follow_view

        return follow_view(self)


def sentence_of(
    m: Measurement, points: Sequence[VisitReading], overall: MeasureChange, missed: Sequence[int]
) -> str:
    first, last = points[0], points[-1]
    unit = "" if m.quantity == "level" else f" {WORDS[m.unit]}"
    began = f"{first.shown} on {written_day(first.on)}"
    ended = f"{last.shown}{unit} on {written_day(last.on)}"
    tail = f" Not measured at visit {', '.join(str(v + 1) for v in missed)}." if missed else ""
    return f"{name_of(m)}: {began}, {ended}: {_verdict(m, overall)}.{tail}"


def _verdict(m: Measurement, change: MeasureChange) -> str:
    unit = WORDS[m.unit]
    if change.real is None or change.threshold is None:
        return "not judged, no error of measurement is published for it"
    if not change.change:
        return "no change"
    size = (
        f"{'gained' if change.change > 0 else 'lost'} {number_with_unit(abs(change.change), unit)}"
    )
    if change.real:
        return f"{size}, a real change (up to {change.threshold:.0f} may be error)"
    return f"{size}, within error (a real change is over {change.threshold:.0f})"


def follow_up_summary(
    patient: str, dates: Sequence[date], followed: Sequence[Followed], scales: Sequence[ScaleChange]
) -> str:
    weeks = round((dates[-1] - dates[0]).days / DAYS_IN_WEEK)
    span = f"{written_day(dates[0])} to {written_day(dates[-1])}"
    head = f"{patient}, {span} ({weeks} weeks, {len(dates)} visits)"
    real = [_short(f) for f in followed if f.overall.real] + [
        _short_scale(s) for s in scales if s.real
    ]
    unreal = [f for f in followed if f.overall.real is False]
    within = len(unreal) + sum(s.real is False for s in scales)
    unjudged = sum(f.overall.real is None for f in followed) + sum(s.real is None for s in scales)
    parts = [f"really changed: {'; '.join(real)}" if real else "no real change"]
    if within:
        parts.append(
            f"within error: {within} {'other ' if real else ''}measure{'s' if within > 1 else ''}"
        )
    if unjudged:
        parts.append(f"not judged: {unjudged}")
    return f"{head}: {'. '.join(part[0].upper() + part[1:] for part in parts)}."


def _short(f: Followed) -> str:
    change, unit = f.overall.change, WORDS[f.unit]
    mode = f", {f.mode}" if f.mode else ""
    return f"patient's {f.side} {f.label.lower()}{mode} {change:+.0f} {unit}"


def _short_scale(s: ScaleChange) -> str:
    return f"{s.label} {s.change:+g}"


def name_of(m: Measurement) -> str:
    return f"Patient's {m.side} {m.label.lower()}" + (f", {m.mode}" if m.mode else "")
