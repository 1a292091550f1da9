"""One person's visits: what changed beyond error, what did not, and what cannot be compared."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import pairwise

from sidewise.errors import UserError, UserErrors
from sidewise.measure.changes import ChangeTest, change_test
from sidewise.measure.course import Course, course
from sidewise.measure.differences import SideDifference, differences
from sidewise.measure.errors_used import ErrorUsed, Wanted, error_for, instrument_disagreement
from sidewise.measure.readings import WORDS, Measurement, counted, measurements
from sidewise.measure.reliability import Z95
from sidewise.measure.scales import ScaleChange, scale_change
from sidewise.measure.tables import Tables, load_tables
from sidewise.protocol import Protocol
from sidewise.record import Record

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
class Change:
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
    steps: tuple[Change, ...]
    since_first: tuple[Change, ...]
    course: tuple[CoursePoint, ...]
    not_measured: tuple[int, ...]
    sentence: str
    cautions: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def overall(self) -> Change:
        """From the first reading to the last."""
        return self.since_first[-1]


@dataclass(frozen=True, slots=True)
class FollowUp:
    """Everything `follow` says of one person's visits."""

    patient: str
    dates: tuple[date, ...]
    followed: tuple[Followed, ...]
    scales: tuple[ScaleChange, ...]
    differences: tuple[SideDifference, ...]
    only_once: tuple[str, ...]
    sentence: str


def follow(
    records: Sequence[Record], protocol: Protocol, tables: Tables | None = None,
    *, names: Sequence[str] = (),
) -> FollowUp:  # fmt: skip
    """The course of every measure over two or more visits of one person, in order.

    `names` say where each record came from, for messages. UserErrors for fewer than two visits,
    another person's or region's record, visits out of order or on one date, and for a reading
    whose instrument was not recorded: without it the error of the change is unknown.
    """
    tables = tables or load_tables(records[0].region if records else "")
    names = tuple(names) or tuple(f"visit {number}" for number in range(1, len(records) + 1))
    _check_visits(records, names)
    visits = [measurements(record, protocol) for record in records]
    _check_instruments(visits, names)
    dates = tuple(record.context.examined_at.date() for record in records)
    series = _series(visits)
    followed = tuple(_followed(found, records, tables) for found in series if len(found) > 1)
    once = tuple(_name(m) for found in series if len(found) == 1 for m in found.values())
    scales = tuple(_scales(records, names, tables))
    last = differences(records[-1], protocol, tables)
    patient = records[0].context.patient
    summary = _summary(patient, dates, followed, scales)
    return FollowUp(patient, dates, followed, scales, last, once, summary)


def _check_visits(records: Sequence[Record], names: Sequence[str]) -> None:
    if len(records) < 2:
        raise UserError("visits", len(records), "two or more examinations of one person")
    first, errors = records[0], []
    for name, record in zip(names, records, strict=True):
        if record.context.patient != first.context.patient:
            errors.append(
                UserError(
                    f"{name}: context.patient",
                    record.context.patient,
                    f'"{first.context.patient}", as in {names[0]}',
                    "Follow one person at a time.",
                )
            )
        if record.region != first.region:
            errors.append(UserError(f"{name}: region", record.region, first.region))
    for (name, earlier), (later_name, later) in pairwise(zip(names, records, strict=True)):
        if error := _order_error(name, earlier, later_name, later):
            errors.append(error)
    if errors:
        raise UserErrors(errors)


def _order_error(name: str, earlier: Record, later_name: str, later: Record) -> UserError | None:
    before, after = earlier.context.examined_at, later.context.examined_at
    where = f"{later_name}: context.examined_at"
    if before.date() == after.date():
        return UserError(
            where,
            _day(after),
            f"another day than {name}",
            "Two readings of one day are repeats: put them in one examination.",
        )
    if after < before:
        return UserError(
            where,
            _day(after),
            f"a day after {name} ({_day(before)})",
            "Give the visits in the order they were made.",
        )
    return None


def _check_instruments(visits: Sequence[Sequence[Measurement]], names: Sequence[str]) -> None:
    errors = [
        UserError(f"{name}: {m.item}, {m.side}", m.instrument, "the instrument it was read with",
                  "Add it; a reading by eye has the instrument eye.")
        for name, visit in zip(names, visits, strict=True) for m in visit
        if m.instrument is None and m.quantity in ("angle", "force")
    ]  # fmt: skip
    if errors:
        raise UserErrors(errors)


Way = tuple[str, str, str | None, str]


def _series(visits: Sequence[Sequence[Measurement]]) -> list[dict[int, Measurement]]:
    found: dict[Way, dict[int, list[Measurement]]] = {}
    for number, visit in enumerate(visits):
        for m in visit:
            place = found.setdefault((m.item, m.side, m.mode, m.quantity), {})
            place.setdefault(number, []).append(m)
    return [_one_instrument(place) for place in found.values()]


def _one_instrument(place: dict[int, list[Measurement]]) -> dict[int, Measurement]:
    # Where a visit has two instruments, the one used at most visits is followed.
    used = [m.instrument for readings in place.values() for m in readings]
    return {
        visit: max(readings, key=lambda m: used.count(m.instrument))
        for visit, readings in sorted(place.items())
    }


def _followed(found: dict[int, Measurement], records: Sequence[Record], tables: Tables) -> Followed:
    visits, readings = list(found), list(found.values())
    errors = _errors(readings, tables)
    points = tuple(
        VisitReading(
            visit,
            records[visit].context.examined_at.date(),
            m.number,
            m.shown,
            m.instrument or "",
            m.examiner,
            _sem(m, used),
        )
        for visit, m, used in zip(visits, readings, errors, strict=True)
    )
    judge = _judge(readings, points, tables)
    steps = tuple(judge(i, i + 1) for i in range(len(points) - 1))
    since_first = tuple(judge(0, i) for i in range(1, len(points)))
    band = _band(points, readings[0], records, tables)
    missed = tuple(visit for visit in range(len(records)) if visit not in found)
    cautions = dict.fromkeys(
        [c for used in errors if used for c in used.cautions]
        + [c for step in (*steps, *since_first) for c in step.cautions]
    )
    sources = dict.fromkeys(used.row.cited() for used in errors if used)
    m = readings[0]
    return Followed(
        m.item,
        m.label,
        m.side,
        m.mode,
        m.unit,
        points,
        steps,
        since_first,
        band,
        missed,
        _sentence(m, points, since_first[-1], missed),
        tuple(cautions),
        tuple(sources),
    )


def _errors(readings: Sequence[Measurement], tables: Tables) -> list[ErrorUsed | None]:
    examiners = "within" if len({m.examiner for m in readings}) == 1 else "between"
    return [
        error_for(
            Wanted(m.quantity, m.item, m.mode, m.instrument or "eye", examiners),
            tables,
            own_sd=m.own_sd,
        )
        for m in readings
    ]


def _sem(m: Measurement, used: ErrorUsed | None) -> float | None:
    return used.scaled(m.number).of_one if used else None


def _judge(
    readings: Sequence[Measurement], points: Sequence[VisitReading], tables: Tables
) -> Callable[[int, int], Change]:
    def judge(earlier: int, later: int) -> Change:
        a, b = points[earlier], points[later]
        if a.sem is None or b.sem is None:
            return Change(a.visit, b.visit, b.number - a.number, None, None, None, ())
        between = _between(readings[earlier], readings[later], tables)
        test: ChangeTest = change_test(a.number, b.number, a.sem, b.sem, between.sd)
        return Change(
            a.visit,
            b.visit,
            test.change,
            test.threshold,
            test.real,
            test.probability,
            between.cautions,
        )

    return judge


@dataclass(frozen=True, slots=True)
class _Between:
    sd: float
    cautions: tuple[str, ...]


def _between(one: Measurement, other: Measurement, tables: Tables) -> _Between:
    if one.instrument == other.instrument:
        return _Between(0.0, ())
    a, b = str(one.instrument), str(other.instrument)
    row = instrument_disagreement(one.quantity, one.item, a, b, tables)
    head = f"Different instruments ({a}, then {b})"
    if row is None:
        unknown = f"{head}: no figure for how far they disagree; a bias is not allowed for."
        return _Between(0.0, (unknown,))
    limits = row.needed("limits")
    return _Between(
        limits / Z95, (f"{head}: they disagree by up to {limits:g} degrees ({row.id}).",)
    )


def _band(
    points: Sequence[VisitReading], m: Measurement, records: Sequence[Record], tables: Tables
) -> tuple[CoursePoint, ...]:
    pace = next(
        (
            row
            for row in tables.usable("change")
            if row.text("kind") == "course" and row.text("measure") == m.quantity
        ),
        None,
    )
    sems = [point.sem for point in points if point.sem is not None]
    if pace is None or len(points) < 3 or len(sems) < len(points):
        return ()
    scale = pace.needed("step") * (abs(m.number) / 100 if m.quantity == "force" else 1.0)
    start = records[points[0].visit].context.examined_at
    weeks = [_weeks(start, records[point.visit].context.examined_at) for point in points]
    found: Course = course(weeks, [point.number for point in points], sems, max(scale, 1e-6))
    return tuple(
        CoursePoint(point.visit, float(level), float(low), float(high))
        for point, level, low, high in zip(points, found.level, found.low, found.high, strict=True)
    )


def _scales(
    records: Sequence[Record], names: Sequence[str], tables: Tables
) -> Iterator[ScaleChange]:
    totals = [_totals(record) for record in records]
    for measure in dict.fromkeys(name for found in totals for name in found):
        seen = [number for number, found in enumerate(totals) if measure in found]
        try:
            if len(seen) > 1:
                first, last = totals[seen[0]][measure], totals[seen[-1]][measure]
                yield scale_change(measure, first, last, tables)
        except UserError as error:
            raise error.inside(f"{names[seen[0]]} to {names[seen[-1]]}") from None


def _totals(record: Record) -> dict[str, float]:
    pain = record.context.pain_0_10
    own = {} if pain is None else {"pain_0_10": pain}
    return {**own, **record.context.scales}


def _sentence(
    m: Measurement, points: Sequence[VisitReading], overall: Change, missed: Sequence[int]
) -> str:
    first, last = points[0], points[-1]
    unit = "" if m.quantity == "level" else f" {WORDS[m.unit]}"
    head = f"{_name(m)}: {first.shown} on {_day(first.on)}, {last.shown}{unit} on {_day(last.on)}"
    tail = f" Not measured at visit {', '.join(str(v + 1) for v in missed)}." if missed else ""
    return f"{head}: {_verdict(m, overall)}.{tail}"


def _verdict(m: Measurement, change: Change) -> str:
    unit = WORDS[m.unit]
    if change.real is None or change.threshold is None:
        return "not judged, no error of measurement is published for it"
    if not change.change:
        return "no change"
    size = f"{'gained' if change.change > 0 else 'lost'} {counted(abs(change.change), unit)}"
    if change.real:
        return f"{size}, a real change (up to {change.threshold:.0f} may be error)"
    return f"{size}, within error (a real change is over {change.threshold:.0f})"


def _summary(
    patient: str, dates: Sequence[date], followed: Sequence[Followed], scales: Sequence[ScaleChange]
) -> str:
    weeks = round((dates[-1] - dates[0]).days / DAYS_IN_WEEK)
    head = f"{patient}, {_day(dates[0])} to {_day(dates[-1])} ({weeks} weeks, {len(dates)} visits)"
    real = [_short(f) for f in followed if f.overall.real] + [
        _short_scale(s) for s in scales if s.real
    ]
    unreal = [f for f in followed if f.overall.real is False]
    within = len(unreal) + sum(s.real is False for s in scales)
    unjudged = sum(f.overall.real is None for f in followed) + sum(s.real is None for s in scales)
    parts = [f"really changed: {'; '.join(real)}" if real else "no real change"]
    if within:
        parts.append(f"within error: {within} other measure{'s' if within > 1 else ''}")
    if unjudged:
        parts.append(f"not judged: {unjudged}")
    return f"{head}: {'. '.join(part[0].upper() + part[1:] for part in parts)}."


def _short(f: Followed) -> str:
    change, unit = f.overall.change, WORDS[f.unit]
    mode = f", {f.mode}" if f.mode else ""
    return f"patient's {f.side} {f.label.lower()}{mode} {change:+.0f} {unit}"


def _short_scale(s: ScaleChange) -> str:
    return f"{s.label} {s.change:+g}"


def _name(m: Measurement) -> str:
    return f"Patient's {m.side} {m.label.lower()}" + (f", {m.mode}" if m.mode else "")


def _weeks(start: datetime, then: datetime) -> float:
    return (then - start).total_seconds() / 86_400 / DAYS_IN_WEEK


def _day(day: date) -> str:
    return f"{day:%-d %B %Y}"
