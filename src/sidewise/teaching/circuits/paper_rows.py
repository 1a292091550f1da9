"""What stands at the head of each mark sheet of a station: circuit, session, examiner, student."""

from __future__ import annotations

from sidewise.errors import UserError
from sidewise.teaching.circuits.request import CircuitRequest
from sidewise.teaching.circuits.timetable import Timetable, duty_rounds


def paper_rows(
    request: CircuitRequest, timetable: Timetable, station: str
) -> tuple[tuple[str, str, str, str], ...]:
    """A row for each sheet, in the order of sessions, circuits and rounds."""
    if station not in request.stations:
        raise UserError("station", station, f"one of {', '.join(request.stations)}",
                        "The place of the circuit bears the station's id.")  # fmt: skip
    place = request.stations[station]
    return tuple(
        (run.circuit, run.session, duty.person, line.student)
        for run in request.runs
        for duty in timetable.duties
        if duty.run == run and duty.place == place and duty.kind == "examiner"
        for line in duty_rounds(request, timetable, duty)
        if line.student
    )
