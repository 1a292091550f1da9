"""Timetables to print: a sheet for each student, examiner and actor, and one for each door.

A student's sheet names places and rooms and no station: what is examined is not to be guessed from
a list that was handed out the day before.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from html import escape

from sidewise.teaching.circuits.request import CircuitPlace, CircuitRequest, CircuitRun
from sidewise.teaching.circuits.timetable import (
    Duty,
    DutyKind,
    Engagement,
    Timetable,
    duty_rounds,
    extra_time_of,
    student_day,
)
from sidewise.teaching.report.printed_sheets import sheet_section, sheets_page

HOURS = "%H:%M"
DAY = "%A %d %B %Y"


def student_sheets(request: CircuitRequest, timetable: Timetable) -> str:
    """A sheet for each student, in the order of their numbers."""
    given = {student.id: student.extra_time for student in request.students}
    return sheets_page(
        f"{request.sitting}: students",
        (
            sheet_section(
                f"Student {start.student}", _when(request, start.session, start.circuit),
                _table(("Time", "Place", "Room", "What"), (
                    (_time(line), str(line.place + 1), _room(request, line),
                     _what_a_student_does(request.places[line.place]))
                    for line in student_day(request, timetable, start)
                ))
                + _own_time(request, timetable, start.run, given[start.student]),
            )
            for start in sorted(timetable.starts, key=lambda one: one.student)
        ),
    )  # fmt: skip


def _own_time(request: CircuitRequest, timetable: Timetable, run: CircuitRun, own: float) -> str:
    """What holds for a student in a circuit whose rounds are longer for somebody else."""
    if extra_time_of(request, timetable, run) == own:
        return ""
    minutes = request.round_length(own).total_seconds() / 60
    return (
        f"<p>Rounds here are longer than yours. You work for {minutes:g} minutes and then wait for "
        "the signal.</p>"
    )


def helper_sheets(request: CircuitRequest, timetable: Timetable, kind: DutyKind) -> str:
    """A sheet for each examiner or each actor, all their sessions on it."""
    own: dict[str, list[Duty]] = defaultdict(list)
    for duty in timetable.duties:
        if duty.kind == kind:
            own[duty.person].append(duty)
    return sheets_page(
        f"{request.sitting}: {kind}s",
        (
            sheet_section(
                f"{kind.capitalize()} {name}", f"Sessions: {len(duties)}",
                "".join(
                    _session(request, timetable, duty)
                    for session in request.ordered_sessions
                    for duty in duties
                    if duty.session == session.id
                ),
            )
            for name, duties in sorted(own.items())
        ),
    )  # fmt: skip


def _session(request: CircuitRequest, timetable: Timetable, duty: Duty) -> str:
    station = request.places[duty.place].station
    head = f"{_when(request, duty.session, duty.circuit)}: {station}"
    lines = list(duty_rounds(request, timetable, duty))
    return f"<h3>{escape(head)}</h3>" + _table(
        ("Time", "Room", "Student"),
        ((_time(line), _room(request, line), line.student or "nobody: rest") for line in lines),
    )


def door_sheets(request: CircuitRequest, timetable: Timetable) -> str:
    """For each place of each circuit that is run: who comes when, and who sits there."""
    running = [run for run in request.runs if timetable.of_run(run)]
    return sheets_page(
        f"{request.sitting}: doors",
        (
            _door(request, timetable, Duty(*run, number, "examiner", ""))
            for run in running
            for number in range(len(request.places))
        ),
    )


def _door(request: CircuitRequest, timetable: Timetable, here: Duty) -> str:
    sits = [
        f"{duty.kind} {duty.person}"
        for duty in timetable.duties
        if (duty.run, duty.place) == (here.run, here.place)
    ]
    lines = list(duty_rounds(request, timetable, here))
    place = request.places[here.place]
    return sheet_section(
        f"Place {here.place + 1}, room {_room(request, lines[0])}",
        f"{_when(request, here.session, here.circuit)}: {', '.join(sits) or place.kind}",
        _table(("Time", "Student"), ((_time(line), line.student or "nobody") for line in lines)),
    )


def _when(request: CircuitRequest, session: str, circuit: str) -> str:
    starts = request.session(session).starts
    return f"{starts:{DAY}}, session {session}, circuit {circuit}"


def _time(line: Engagement) -> str:
    return f"{line.begins:{HOURS}} to {line.ends:{HOURS}}"


def _room(request: CircuitRequest, line: Engagement) -> str:
    rooms = request.circuit(line.circuit).rooms
    return rooms[line.place] if rooms else f"{line.circuit}{line.place + 1}"


def _what_a_student_does(place: CircuitPlace) -> str:
    return {"station": "station", "rest": "rest", "preparation": "read and prepare"}[place.kind]


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{escape(one)}</th>' for one in heads)
    return f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(_rows(rows))}</tbody></table>"


def _rows(rows: Iterable[Sequence[str]]) -> Iterator[str]:
    for first, *rest in rows:
        cells = "".join(f"<td>{escape(cell)}</td>" for cell in rest)
        yield f'<tr><th scope="row">{escape(first)}</th>{cells}</tr>'
