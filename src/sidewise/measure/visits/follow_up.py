"""One person's visits: what changed beyond error, what did not, and what cannot be compared."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sidewise.errors import UserError
from sidewise.ground.interval import Z95
from sidewise.measure.norms.tables import MeasurementTables
from sidewise.measure.sides.differences import side_differences
from sidewise.measure.sides.errors_used import ErrorUsed, Wanted, error_for, instrument_disagreement
from sidewise.measure.sides.readings import Measurement, measurements
from sidewise.measure.visits.changes import change_test
from sidewise.measure.visits.checks import check_instruments, check_visits
from sidewise.measure.visits.course import smooth_course
from sidewise.measure.visits.persons import person_doubts
from sidewise.measure.visits.results import (
    DAYS_IN_WEEK,
    CoursePoint,
    Followed,
    FollowUp,
    MeasureChange,
    VisitReading,
    follow_up_summary,
    name_of,
    sentence_of,
)
from sidewise.measure.visits.scales import ScaleChange, scale_change
from sidewise.protocol import Protocol
from sidewise.record import Record


def follow(
    records: Sequence[Record],
    protocol: Protocol,
    tables: MeasurementTables,
    *,
    names: Sequence[str] = (),
) -> FollowUp:
    """The course of every measure over two or more visits of one person, in order.

    `names` say where each record came from, for messages. UserErrors for fewer than two visits,
    another person's or region's record, visits out of order or on one date, and for a reading
    whose instrument was not recorded: without it the error of the change is unknown.
    """
    names = tuple(names) or tuple(f"visit {number}" for number in range(1, len(records) + 1))
    check_visits(records, names)
    visits = [measurements(record, protocol) for record in records]
    check_instruments(visits, names)
    dates = tuple(record.context.examined_at.date() for record in records)
    series = _series(visits)
    followed = tuple(_followed(found, records, tables) for found in series if len(found) > 1)
    once = tuple(name_of(m) for found in series if len(found) == 1 for m in found.values())
    scales = tuple(_scales(records, names, tables))
    last = side_differences(records[-1], protocol, tables)
    patient = records[0].context.patient
    summary = follow_up_summary(patient, dates, followed, scales)
    return FollowUp(patient, dates, followed, scales, last, once, summary, person_doubts(records))


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


def _followed(
    found: dict[int, Measurement], records: Sequence[Record], tables: MeasurementTables
) -> Followed:
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
        sentence_of(m, points, since_first[-1], missed),
        tuple(cautions),
        tuple(sources),
        m.ladder,
    )


def _errors(readings: Sequence[Measurement], tables: MeasurementTables) -> list[ErrorUsed | None]:
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
    readings: Sequence[Measurement], points: Sequence[VisitReading], tables: MeasurementTables
) -> Callable[[int, int], MeasureChange]:
    def judge(earlier: int, later: int) -> MeasureChange:
        a, b = points[earlier], points[later]
        if a.sem is None or b.sem is None:
            return MeasureChange(a.visit, b.visit, b.number - a.number, None, None, None, ())
        between = _between(readings[earlier], readings[later], tables)
        test = change_test(a.number, b.number, a.sem, b.sem, between.sd)
        return MeasureChange(
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


def _between(one: Measurement, other: Measurement, tables: MeasurementTables) -> _Between:
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
    points: Sequence[VisitReading],
    m: Measurement,
    records: Sequence[Record],
    tables: MeasurementTables,
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
    found = smooth_course(weeks, [point.number for point in points], sems, max(scale, 1e-6))
    return tuple(
        CoursePoint(point.visit, float(level), float(low), float(high))
        for point, level, low, high in zip(points, found.level, found.low, found.high, strict=True)
    )


def _scales(
    records: Sequence[Record], names: Sequence[str], tables: MeasurementTables
) -> Iterator[ScaleChange]:
    if not any(row.text("kind") == "scale" for row in tables.change):
        return  # The region has no table of scales: callers say so, and the totals stand as given.
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


def _weeks(start: datetime, then: datetime) -> float:
    return (then - start).total_seconds() / 86_400 / DAYS_IN_WEEK
