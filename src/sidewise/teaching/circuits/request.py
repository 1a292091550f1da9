"""What a timetable is asked for: people, places, sessions and the rules of the day."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import cached_property
from math import ceil
from typing import Annotated, Literal, NamedTuple

from pydantic import AwareDatetime, ConfigDict, Field

from sidewise.ground.frozen import Frozen

CIRCUITS_FORMAT = "sidewise-circuits/1"

Code = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_. -]{0,39}$")]
"""What a person, a circuit, a session or a station is called on every list."""
Language = Annotated[str, Field(pattern=r"^[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8})*$")]
Minutes = Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)]
Points = Annotated[float, Field(gt=0, le=50, allow_inf_nan=False)]
Few = Annotated[int, Field(ge=1, le=50)]


class CircuitPlace(Frozen):
    """One place of a circuit, in the order in which students walk.

    A station, or a place to rest or to prepare for the station that follows. examiners, actors: how
    many sit there in each circuit. strain: what each candidate costs an actor, 0 to 3.
    """

    kind: Literal["station", "rest", "preparation"] = "station"
    station: str = ""
    examiners: Literal[1, 2] = 1
    actors: Annotated[int, Field(ge=0, le=3)] = 0
    strain: Annotated[int, Field(ge=0, le=3)] = 0


class Circuit(Frozen):
    """One circuit. wheelchair: every room of it can be entered and used from one. rooms: of each
    place, in the order of the places; none: the place's own name."""

    id: Code
    wheelchair: bool = True
    rooms: tuple[str, ...] = ()


class SittingSession(Frozen):
    """A session: every circuit of it starts at the same time. circuits: none named, all."""

    id: Code
    starts: AwareDatetime
    circuits: tuple[str, ...] = ()


class ExaminedStudent(Frozen):
    """A student. extra_time: 1.25 is a quarter more. not_by: examiners who may not mark them, such
    as their own tutor. apart: students with whom they are never in one circuit (twins). sessions:
    in which they can come; none named, any."""

    id: Code
    group: str = ""
    extra_time: Annotated[float, Field(ge=1, le=2, allow_inf_nan=False)] = 1.0
    wheelchair: bool = False
    language: Language | None = None
    not_by: tuple[str, ...] = ()
    apart: tuple[str, ...] = ()
    sessions: tuple[str, ...] = ()


class Helper(Frozen):
    """An examiner or an actor. stations, sessions: none named, any. languages: none named, that of
    the sitting. wheelchair: needs a circuit that can be used from one. most_sessions: in all.
    apart: people with whom they do not sit at one station."""

    id: Code
    stations: tuple[str, ...] = ()
    sessions: tuple[str, ...] = ()
    languages: tuple[Language, ...] = ()
    wheelchair: bool = False
    most_sessions: Few | None = None
    apart: tuple[str, ...] = ()


class ExaminingPerson(Helper):
    """An examiner. new: sits beside an experienced one and never alone."""

    new: bool = False


class ActingPerson(Helper):
    """An actor or a patient. most_strain: what they may bear in a day, in strain times candidates;
    none: no limit."""

    most_strain: Annotated[int, Field(ge=0, le=1000)] | None = None


class DayRules(Frozen):
    """Rules that hold for everybody.

    in_a_row: sessions of one day without one of rest, for examiners and actors. most_stations:
    different stations that one examiner is asked to mark. least_runs: circuits run in all, at
    least; with none as few as possible, but more of them tell more of examiners. student_sd,
    residual_sd: in points of 100, between students and of one mark, for the expected standard
    errors (our judgement; the analysis of an earlier sitting has better ones). seed: of the draw
    by which students are allocated.
    """

    in_a_row: Few = 2
    most_stations: Few = 2
    least_runs: Annotated[int, Field(ge=1, le=800)] | None = None
    student_sd: Points = 6.0
    residual_sd: Points = 10.0
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = 1


class CircuitRun(NamedTuple):
    """One circuit in one session."""

    session: str
    circuit: str


class CircuitRequest(Frozen):
    """Everything that a timetable is made from. minutes: of a round; change: between rounds."""

    model_config = ConfigDict(frozen=True, extra="forbid", ignored_types=(cached_property,))

    format: Literal["sidewise-circuits/1"] = "sidewise-circuits/1"
    sitting: Code
    minutes: Minutes
    change: Annotated[float, Field(ge=0, le=30, allow_inf_nan=False)] = 2.0
    language: Language = "en"
    places: Annotated[tuple[CircuitPlace, ...], Field(min_length=1, max_length=60)]
    circuits: Annotated[tuple[Circuit, ...], Field(min_length=1, max_length=20)]
    sessions: Annotated[tuple[SittingSession, ...], Field(min_length=1, max_length=40)]
    students: Annotated[tuple[ExaminedStudent, ...], Field(min_length=1, max_length=2000)]
    examiners: Annotated[tuple[ExaminingPerson, ...], Field(min_length=1, max_length=500)]
    actors: Annotated[tuple[ActingPerson, ...], Field(max_length=500)] = ()
    rules: DayRules = DayRules()

    @cached_property
    def stations(self) -> dict[str, int]:
        """Every station with the number of its place."""
        return {one.station: k for k, one in enumerate(self.places) if one.kind == "station"}

    @cached_property
    def first_places(self) -> tuple[int, ...]:
        """Places at which a student can begin: not at a station that is prepared for before."""
        kinds = [place.kind for place in self.places]
        return tuple(k for k in range(len(kinds)) if kinds[k - 1] != "preparation" or k == 0)

    @cached_property
    def runs(self) -> tuple[CircuitRun, ...]:
        """Every circuit of every session, in the order of time."""
        every = tuple(circuit.id for circuit in self.circuits)
        return tuple(
            CircuitRun(session.id, circuit)
            for session in self.ordered_sessions
            for circuit in every
            if not session.circuits or circuit in session.circuits
        )

    @cached_property
    def ordered_sessions(self) -> tuple[SittingSession, ...]:
        """The sessions in the order of time."""
        return tuple(sorted(self.sessions, key=lambda one: one.starts))

    @cached_property
    def days(self) -> dict[date, tuple[str, ...]]:
        """The sessions of each day, in the order of time."""
        found: dict[date, tuple[str, ...]] = {}
        for session in self.ordered_sessions:
            day = session.starts.date()
            found[day] = (*found.get(day, ()), session.id)
        return found

    def session(self, name: str) -> SittingSession:
        """The session of this name."""
        return next(one for one in self.sessions if one.id == name)

    def circuit(self, name: str) -> Circuit:
        """The circuit of this name."""
        return next(one for one in self.circuits if one.id == name)

    def language_of(self, student: ExaminedStudent) -> str:
        """In which language a student is examined."""
        return student.language or self.language

    def languages_of(self, person: Helper) -> tuple[str, ...]:
        """What an examiner or actor speaks."""
        return person.languages or (self.language,)

    def round_length(self, extra_time: float = 1.0) -> timedelta:
        """How long a round lasts where somebody has extra time, to the next half minute."""
        # Rounded first: 10 minutes and a tenth are 22 half minutes, not a hair more.
        half_minutes = ceil(round(2 * self.minutes * extra_time, 6))
        return timedelta(seconds=30 * half_minutes)

    def rounds(
        self, session: str, extra_time: float = 1.0
    ) -> tuple[tuple[datetime, datetime], ...]:
        """Beginning and end of each round of a session."""
        begin, length = self.session(session).starts, self.round_length(extra_time)
        step = length + timedelta(minutes=self.change)
        return tuple((begin + k * step, begin + k * step + length) for k in range(len(self.places)))
