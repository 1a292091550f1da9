"""The allocation of people to circuits, as a constraint model for OR-tools' CP-SAT.

Students with the same needs are interchangeable, so the model counts them by kind and never names
one: it is small, and who goes where within a kind is drawn by lot afterwards. Where it is to say
why nothing fits, every rule gets a literal that switches it, named by rule and person.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal, NamedTuple

from sidewise.teaching.circuits.request import (
    ActingPerson,
    CircuitRequest,
    CircuitRun,
    ExaminedStudent,
    ExaminingPerson,
    Helper,
)
from sidewise.teaching.circuits.timetable import DutyKind, Timetable

RuleName = Literal[
    "sessions", "stations", "not by", "language", "wheelchair", "extra time", "apart", "in a row",
    "most sessions", "most stations", "new", "strain", "staff", "least runs", "over",
]  # fmt: skip


class NamedRule(NamedTuple):
    """A rule of the day for one person, station, session or language."""

    rule: RuleName
    who: str


class StudentNeeds(NamedTuple):
    """What decides where a student can be; students alike in it are interchangeable.

    alone: the number of a student who is kept apart from another, "" for all others.
    """

    language: str
    wheelchair: bool
    extra_time: float
    not_by: tuple[str, ...]
    sessions: tuple[str, ...]
    alone: str


@dataclass(frozen=True, slots=True)
class StudentKind:
    """Students with the same needs, in the order of the list."""

    needs: StudentNeeds
    students: tuple[str, ...]


class PostKey(NamedTuple):
    """A person at a place of a run."""

    kind: DutyKind
    person: str
    run: CircuitRun
    place: int


def student_kinds(request: CircuitRequest) -> tuple[StudentKind, ...]:
    """The students by what they need."""
    apart = {name for student in request.students for name in student.apart}
    found: dict[StudentNeeds, list[str]] = {}
    for student in request.students:
        alone = student.id if student.apart or student.id in apart else ""
        found.setdefault(_needs(request, student, alone), []).append(student.id)
    return tuple(StudentKind(needs, tuple(names)) for needs, names in found.items())


def _needs(request: CircuitRequest, student: ExaminedStudent, alone: str) -> StudentNeeds:
    return StudentNeeds(
        request.language_of(student), student.wheelchair, student.extra_time,
        tuple(sorted(student.not_by)), tuple(sorted(student.sessions)), alone,
    )  # fmt: skip


class AllocationModel:
    """The literals of the model.

    counts: students of a kind (by its number) in a run. there: whether any is. used: whether a run
    takes place, slow: with longer rounds. posts: who sits where, as far as they can. switches:
    literals of the rules, only where they are named.
    """

    def __init__(self, request: CircuitRequest, model: Any, *, named: bool = False) -> None:
        self.request, self.model, self.named = request, model, named
        self.kinds = student_kinds(request)
        people = (*request.examiners, *request.actors)
        self.languages = {one.id: request.languages_of(one) for one in people}
        self.switches: dict[NamedRule, Any] = {}
        self.counts: dict[tuple[int, CircuitRun], Any] = {}
        self.there: dict[tuple[int, CircuitRun], Any] = {}
        self.used = {run: model.new_bool_var(f"{run} runs") for run in request.runs}
        self.slow = {run: model.new_bool_var(f"{run} is slow") for run in request.runs}
        self.posts: dict[PostKey, Any] = {}
        self.own_posts: dict[tuple[DutyKind, str], list[PostKey]] = defaultdict(list)
        self.works: dict[tuple[DutyKind, str, CircuitRun], Any] = {}
        self.at_work: dict[CircuitRun, list[tuple[str, Any]]] = {run: [] for run in request.runs}
        self._add_students()
        self._add_staff("examiner", request.examiners)
        self._add_staff("actor", request.actors)
        self._add_examiners()
        self._add_actors()
        self._add_needs()

    def _require(self, constraint: Any, rule: RuleName, who: str) -> None:
        """Lets a rule be switched where it has to be named."""
        if self.named:
            key = NamedRule(rule, who)
            if key not in self.switches:
                self.switches[key] = self.model.new_bool_var(f"{rule}: {who}")
            constraint.only_enforce_if(self.switches[key])

    def _add_students(self) -> None:
        model, room = self.model, len(self.request.first_places)
        for number, kind in enumerate(self.kinds):
            most = min(room, len(kind.students))
            for run in self.request.runs:
                count = self.counts[number, run] = model.new_int_var(0, most, f"{number} {run}")
                there = self.there[number, run] = model.new_bool_var(f"{number} there {run}")
                model.add(count >= there)
                model.add(count <= most * there)
            own = [self.counts[number, run] for run in self.request.runs]
            model.add(sum(own) == len(kind.students))
        for run in self.request.runs:
            model.add(self.students_in(run) <= room * self.used[run])
            model.add(self.students_in(run) >= self.used[run])
        # Said once more for the bound: so many circuits are needed whatever else holds.
        model.add(sum(self.used.values()) >= -(-len(self.request.students) // room))
        if (least := self.request.rules.least_runs) is not None:
            self._require(model.add(sum(self.used.values()) >= least), "least runs", "all")

    def counts_before(self, before: Timetable) -> dict[tuple[int, CircuitRun], int]:
        """How many students of each kind were in each run."""
        kind_of = {name: k for k, kind in enumerate(self.kinds) for name in kind.students}
        was: dict[tuple[int, CircuitRun], int] = defaultdict(int)
        for start in before.starts:
            if start.student in kind_of:
                was[kind_of[start.student], start.run] += 1
        return was

    def keep_sessions(self, before: Timetable, done: Sequence[str]) -> None:
        """What is over stays as it was."""
        was = self.counts_before(before)
        sat = {PostKey(duty.kind, duty.person, duty.run, duty.place) for duty in before.duties}
        for key, count in self.counts.items():
            if key[1].session in done:
                self._require(self.model.add(count == was[key]), "over", key[1].session)
        for post, literal in self.posts.items():
            if post.run.session in done:
                same = self.model.add(literal == (post in sat))
                self._require(same, "over", post.run.session)

    def students_in(self, run: CircuitRun) -> Any:
        """How many students are in a run."""
        return sum(self.counts[number, run] for number in range(len(self.kinds)))

    def _add_staff(self, kind: DutyKind, people: Sequence[Helper]) -> None:
        """Posts filled where a run takes place; what holds for examiners and actors alike."""
        places = {
            place: wanted
            for place in self.request.stations.values()
            if (wanted := self._wanted(kind, place))
        }
        for person in people if places else ():
            for run in self.request.runs:
                own = [
                    self._post(PostKey(kind, person.id, run, place))
                    for place in places
                    if self.named or self._possible(person, run, place)
                ]
                works = self.works[kind, person.id, run] = self.model.new_bool_var("")
                self.model.add(sum(own) == works)
                self.at_work[run].append((person.id, works))
            self._add_presence(kind, person)
        for run in self.request.runs:
            for place, wanted in places.items():
                here = self._at(kind, [one.id for one in people], run, place)
                cover = self.model.add(sum(here) == wanted * self.used[run])
                station = self.request.places[place].station
                self._require(cover, "staff", f"{kind}s at {station}")
        self._add_apart(kind, people, places)

    def _wanted(self, kind: DutyKind, place: int) -> int:
        here = self.request.places[place]
        return here.examiners if kind == "examiner" else here.actors

    def _possible(self, person: Helper, run: CircuitRun, place: int) -> bool:
        """Whether nothing about this person alone speaks against a post; where rules have to be
        named they are all stated instead."""
        request = self.request
        return (
            (not person.stations or request.places[place].station in person.stations)
            and (not person.sessions or run.session in person.sessions)
            and (not person.wheelchair or request.circuit(run.circuit).wheelchair)
        )

    def _post(self, key: PostKey) -> Any:
        self.posts[key] = self.model.new_bool_var("")
        self.own_posts[key.kind, key.person].append(key)
        return self.posts[key]

    def _in_session(self, kind: DutyKind, person: str, session: str) -> Any:
        runs = [run for run in self.request.runs if run.session == session]
        return sum(self.works[kind, person, run] for run in runs)

    def _add_presence(self, kind: DutyKind, person: Helper) -> None:
        request, name, model = self.request, person.id, self.model
        there = {one.id: self._in_session(kind, name, one.id) for one in request.sessions}
        for session, times in there.items():
            model.add(times <= 1)
            if person.sessions and session not in person.sessions:
                self._require(model.add(times == 0), "sessions", name)
        for key in self._own_posts(kind, name):
            station = request.places[key.place].station
            if person.stations and station not in person.stations:
                self._require(model.add(self.posts[key] == 0), "stations", name)
            if person.wheelchair and not request.circuit(key.run.circuit).wheelchair:
                self._require(model.add(self.posts[key] == 0), "wheelchair", name)
        if person.most_sessions is not None:
            limit = model.add(sum(there.values()) <= person.most_sessions)
            self._require(limit, "most sessions", name)
        row = request.rules.in_a_row
        for sessions in request.days.values():
            for first in range(len(sessions) - row):
                window = sum(there[one] for one in sessions[first : first + row + 1])
                self._require(model.add(window <= row), "in a row", name)

    def _own_posts(self, kind: DutyKind, name: str) -> list[PostKey]:
        return self.own_posts[kind, name]

    def _add_apart(
        self, kind: DutyKind, people: Sequence[Helper], places: Mapping[int, int]
    ) -> None:
        shared = [place for place, wanted in places.items() if wanted > 1]
        for person in people:
            for other in person.apart:
                for run in self.request.runs:
                    for place in shared:
                        both = self._at(kind, [person.id, other], run, place)
                        self._require(self.model.add(sum(both) <= 1), "apart", person.id)

    def _at(self, kind: DutyKind, names: Sequence[str], run: CircuitRun, place: int) -> list[Any]:
        """The posts of these people at a place, as far as they can be there."""
        keys = (PostKey(kind, name, run, place) for name in names)
        return [self.posts[key] for key in keys if key in self.posts]

    def _add_examiners(self) -> None:
        for person in self.request.examiners:
            self._add_limit(person)
            if person.new:
                self._add_company(person)

    def _add_limit(self, person: ExaminingPerson) -> None:
        """No more different stations than one examiner is asked to mark."""
        model, most = self.model, self.request.rules.most_stations
        marks = {place: model.new_bool_var("") for place in self.request.stations.values()}
        for key in self.own_posts["examiner", person.id]:
            model.add_implication(self.posts[key], marks[key.place])
        self._require(model.add(sum(marks.values()) <= most), "most stations", person.id)

    def _add_company(self, person: ExaminingPerson) -> None:
        experienced = [one.id for one in self.request.examiners if not one.new]
        for key in self._own_posts("examiner", person.id):
            beside = self._at("examiner", experienced, key.run, key.place)
            alone = self._wanted("examiner", key.place) == 1
            company = self.model.add(self.posts[key] <= (0 if alone else sum(beside)))
            self._require(company, "new", person.id)

    def _add_actors(self) -> None:
        for person in self.request.actors:
            if person.most_strain is not None:
                self._add_strain(person, person.most_strain)

    def _add_strain(self, person: ActingPerson, most: int) -> None:
        """What an actor bears in a day: strain of the station times the students of the run."""
        model, room = self.model, len(self.request.first_places)
        load: dict[PostKey, Any] = {}
        for key in self._own_posts("actor", person.id):
            if strain := self.request.places[key.place].strain:
                load[key] = model.new_int_var(0, strain * room, "")
                borne = strain * self.students_in(key.run) - strain * room * (1 - self.posts[key])
                model.add(load[key] >= borne)
        for sessions in self.request.days.values():
            today = [load[key] for key in load if key.run.session in sessions]
            self._require(model.add(sum(today) <= most), "strain", person.id)

    def _add_needs(self) -> None:
        for number, kind in enumerate(self.kinds):
            for run in self.request.runs:
                self._add_needs_of(self.there[number, run], kind, run)
        self._add_students_apart()

    def _add_needs_of(self, there: Any, kind: StudentKind, run: CircuitRun) -> None:
        request, model, needs = self.request, self.model, kind.needs
        whose = kind.students[0] if len(kind.students) == 1 else f"{len(kind.students)} students"
        if needs.sessions and run.session not in needs.sessions:
            self._require(model.add(there == 0), "sessions", whose)
        if needs.wheelchair and not request.circuit(run.circuit).wheelchair:
            self._require(model.add(there == 0), "wheelchair", whose)
        if needs.extra_time > 1:
            model.add_implication(there, self.slow[run])
            if overlaps_next(request, run.session, needs.extra_time):
                self._require(model.add(there == 0), "extra time", run.session)
        for name in needs.not_by:
            works = self.works["examiner", name, run]
            self._require(model.add(there + works <= 1), "not by", name)
        for name, works in self.at_work[run]:
            if needs.language not in self.languages[name]:
                self._require(model.add(there + works <= 1), "language", needs.language)

    def _add_students_apart(self) -> None:
        number_of = {kind.needs.alone: k for k, kind in enumerate(self.kinds) if kind.needs.alone}
        for student in self.request.students:
            for other in student.apart:
                for run in self.request.runs:
                    both = [self.there[number_of[one], run] for one in (student.id, other)]
                    self._require(self.model.add(sum(both) <= 1), "apart", student.id)


def overlaps_next(request: CircuitRequest, session: str, extra_time: float) -> bool:
    """Whether a session with longer rounds would still run when the next one begins."""
    names = [one.id for one in request.ordered_sessions]
    place = names.index(session) + 1
    if place == len(names):
        return False
    ends = request.rounds(session, extra_time)[-1][1]
    return ends > request.ordered_sessions[place].starts
