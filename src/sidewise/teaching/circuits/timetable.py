"""A timetable: who begins where in which circuit, and who sits at which place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun

TIMETABLE_FORMAT = "sidewise-timetable/1"
DutyKind = Literal["examiner", "actor"]


@dataclass(frozen=True, slots=True, order=True)
class Start:
    """A student of one circuit in one session. place: number, from 0, where they begin."""

    session: str
    circuit: str
    place: int
    student: str

    @property
    def run(self) -> CircuitRun:
        """The circuit of the session."""
        return CircuitRun(self.session, self.circuit)


@dataclass(frozen=True, slots=True, order=True)
class Duty:
    """An examiner or an actor at one place of a circuit for a whole session."""

    session: str
    circuit: str
    place: int
    kind: DutyKind
    person: str

    @property
    def run(self) -> CircuitRun:
        """The circuit of the session."""
        return CircuitRun(self.session, self.circuit)


@dataclass(frozen=True)
class Timetable:
    """A whole timetable, in the order of sessions, circuits and places."""

    starts: tuple[Start, ...]
    duties: tuple[Duty, ...]

    def of_run(self, run: CircuitRun) -> tuple[Start, ...]:
        """The students of one circuit in one session."""
        return tuple(start for start in self.starts if start.run == run)


@dataclass(frozen=True, slots=True)
class Engagement:
    """One line of somebody's day. place: number from 0. student: of an examiner's or actor's line,
    "" where nobody comes in this round."""

    begins: datetime
    ends: datetime
    circuit: str
    session: str
    place: int
    student: str = ""


def extra_time_of(request: CircuitRequest, timetable: Timetable, run: CircuitRun) -> float:
    """By how much the rounds of a circuit are longer: the largest extra time of its students."""
    given = {student.id: student.extra_time for student in request.students}
    return max((given[start.student] for start in timetable.of_run(run)), default=1.0)


def student_day(
    request: CircuitRequest, timetable: Timetable, start: Start
) -> Iterator[Engagement]:
    """A student's rounds: from place to place, each once."""
    extra = extra_time_of(request, timetable, start.run)
    for number, (begins, ends) in enumerate(request.rounds(start.session, extra)):
        place = (start.place + number) % len(request.places)
        yield Engagement(begins, ends, start.circuit, start.session, place, start.student)


def duty_rounds(request: CircuitRequest, timetable: Timetable, duty: Duty) -> Iterator[Engagement]:
    """The rounds of an examiner or actor in one session, with who comes in each."""
    extra = extra_time_of(request, timetable, duty.run)
    begins_at = {start.place: start.student for start in timetable.of_run(duty.run)}
    count = len(request.places)
    for number, (begins, ends) in enumerate(request.rounds(duty.session, extra)):
        student = begins_at.get((duty.place - number) % count, "")
        yield Engagement(begins, ends, duty.circuit, duty.session, duty.place, student)
