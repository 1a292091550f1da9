"""Whether examiners' duties keep the rules, while students and actors stay as they are."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun, ExaminingPerson
from sidewise.teaching.circuits.timetable import Duty, Timetable


class DutyRules:
    """The rules about examiners of one timetable, made ready to be asked often."""

    def __init__(self, request: CircuitRequest, timetable: Timetable) -> None:
        self._request = request
        self._people = {person.id: person for person in request.examiners}
        students = {student.id: student for student in request.students}
        self._refused: dict[CircuitRun, set[str]] = defaultdict(set)
        self._languages: dict[CircuitRun, set[str]] = defaultdict(set)
        for start in timetable.starts:
            student = students[start.student]
            self._refused[start.run] |= set(student.not_by)
            self._languages[start.run].add(request.language_of(student))

    def kept(self, duties: Sequence[Duty], changed: Sequence[int]) -> bool:
        """Whether the rules are kept by those whose duties (by number) have changed, and by
        whoever sits beside them; of all others it is taken as known."""
        return all(self._duty(self._people[duties[k].person], duties[k]) for k in changed) and all(
            self._person(duties, duties[k].person) and self._neighbours(duties, duties[k])
            for k in changed
        )

    def _duty(self, person: ExaminingPerson, duty: Duty) -> bool:
        request = self._request
        station = request.places[duty.place].station
        return (
            (not person.stations or station in person.stations)
            and (not person.sessions or duty.session in person.sessions)
            and (not person.wheelchair or request.circuit(duty.circuit).wheelchair)
            and person.id not in self._refused[duty.run]
            and self._languages[duty.run] <= set(request.languages_of(person))
        )

    def _person(self, duties: Sequence[Duty], name: str) -> bool:
        own = [duty for duty in duties if duty.person == name]
        sessions = {duty.session for duty in own}
        most = self._people[name].most_sessions
        return (
            len({duty.place for duty in own}) <= self._request.rules.most_stations
            and (most is None or len(sessions) <= most)
            and not self._too_long(sessions)
        )

    def _too_long(self, sessions: set[str]) -> bool:
        row = self._request.rules.in_a_row
        return any(
            set(day[first : first + row + 1]) <= sessions
            for day in self._request.days.values()
            for first in range(len(day) - row)
        )

    def _neighbours(self, duties: Sequence[Duty], here: Duty) -> bool:
        """New examiners have company; nobody sits beside one to be kept apart."""
        names = {d.person for d in duties if d.run == here.run and d.place == here.place}
        people = [self._people[name] for name in names]
        return not all(person.new for person in people) and not any(
            set(person.apart) & names for person in people
        )
