"""What is wrong with a timetable, whoever made it: every rule checked again from the lists alone.

Written apart from the model that makes timetables, and shares no step with it: it walks through
every person's day and looks. A timetable is shown only when nothing is found.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator
from itertools import combinations, pairwise

from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun, Helper
from sidewise.teaching.circuits.timetable import (
    Duty,
    DutyKind,
    Timetable,
    duty_rounds,
    extra_time_of,
    student_day,
)


def timetable_faults(request: CircuitRequest, timetable: Timetable) -> list[str]:
    """Sentences, one for each rule that is broken; empty where none is."""
    if strange := list(_strangers(request, timetable)):
        return strange
    return [
        *_seats(request, timetable),
        *_staffing(request, timetable),
        *_meetings(request, timetable),
        *_days(request, timetable),
        *_people(request, timetable),
    ]


def _strangers(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    students = {one.id for one in request.students}
    people = {
        "examiner": {one.id for one in request.examiners},
        "actor": {one.id for one in request.actors},
    }
    for start in timetable.starts:
        if start.student not in students:
            yield f"{start.student} is in the timetable and not on the list of students."
        if start.run not in request.runs or not 0 <= start.place < len(request.places):
            yield f"{start.student} begins at a place that there is not."
    for duty in timetable.duties:
        if duty.person not in people[duty.kind]:
            yield f"{duty.person} is in the timetable and not on the list of {duty.kind}s."
        if duty.run not in request.runs or duty.place not in request.stations.values():
            yield f"{duty.person} sits at a station that there is not."


def _seats(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    times = Counter(start.student for start in timetable.starts)
    for student in request.students:
        if times[student.id] != 1:
            yield f"{student.id} is examined {times[student.id]} times."
    taken = Counter((start.run, start.place) for start in timetable.starts)
    for (run, place), count in taken.items():
        if count > 1:
            yield f"{count} students begin at place {place + 1} of {run.circuit}, {run.session}."
        before = request.places[place - 1].kind if place else ""
        if before == "preparation":
            yield f"A student begins at place {place + 1} of {run.circuit} without preparing."
    for start in timetable.starts:
        visited = sorted(one.place for one in student_day(request, timetable, start))
        if visited != list(range(len(request.places))):
            yield f"{start.student} does not come to every place once."


def _staffing(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    running = {start.run for start in timetable.starts}
    here = Counter((duty.run, duty.place, duty.kind) for duty in timetable.duties)
    for run in request.runs:
        for station, place in request.stations.items():
            wanted: dict[DutyKind, int] = {
                "examiner": request.places[place].examiners,
                "actor": request.places[place].actors,
            }
            for kind, number in wanted.items():
                needed = number if run in running else 0
                found = here[run, place, kind]
                if found != needed and (run in running or found):
                    yield (
                        f"{station} in {run.circuit}, {run.session}: {found} {kind}s, "
                        f"{needed} needed."
                    )


def _meetings(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    """Who meets whom, round by round."""
    students = {one.id: one for one in request.students}
    helpers: dict[tuple[str, str], Helper] = {
        **{("examiner", one.id): one for one in request.examiners},
        **{("actor", one.id): one for one in request.actors},
    }
    for duty in timetable.duties:
        helper = helpers[duty.kind, duty.person]
        for line in duty_rounds(request, timetable, duty):
            if not line.student:
                continue
            student = students[line.student]
            if duty.kind == "examiner" and duty.person in student.not_by:
                yield f"{duty.person} would mark {student.id}."
            language = student.language or request.language
            if language not in (helper.languages or (request.language,)):
                yield f"{duty.person} does not speak {language} with {student.id}."
    for run in {start.run for start in timetable.starts}:
        yield from _company(request, timetable, run)


def _company(request: CircuitRequest, timetable: Timetable, run: CircuitRun) -> Iterator[str]:
    students = {one.id: one for one in request.students}
    names = [start.student for start in timetable.of_run(run)]
    circuit = request.circuit(run.circuit)
    for one, other in combinations(names, 2):
        if other in students[one].apart or one in students[other].apart:
            yield f"{one} and {other} are in one circuit."
    for name in names:
        if students[name].wheelchair and not circuit.wheelchair:
            yield f"{name} cannot use circuit {circuit.id}."
        if students[name].sessions and run.session not in students[name].sessions:
            yield f"{name} cannot come to {run.session}."


def _days(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    """Nobody is at two places at once, and nobody works too many sessions in a row."""
    lines = defaultdict(list)
    for duty in timetable.duties:
        rounds = list(duty_rounds(request, timetable, duty))
        lines[duty.kind, duty.person].append((rounds[0].begins, rounds[-1].ends, duty.session))
    for (_, name), spans in lines.items():
        spans.sort()
        for (_, ends, _), (begins, _, _) in pairwise(spans):
            if begins < ends:
                yield f"{name} is at two places at {begins:%d %b %H:%M}."
        worked = {session for _, _, session in spans}
        for sessions in request.days.values():
            longest = row = 0
            for session in sessions:
                row = row + 1 if session in worked else 0
                longest = max(longest, row)
            if longest > request.rules.in_a_row:
                yield f"{name} works {longest} sessions in a row."
    for run in {start.run for start in timetable.starts}:
        ends = request.rounds(run.session, extra_time_of(request, timetable, run))[-1][1]
        later = [one.starts for one in request.sessions]
        begins = request.session(run.session).starts
        if any(begins < start < ends for start in later):
            yield f"{run.circuit} in {run.session} still runs when the next session begins."


def _people(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    own = defaultdict(list)
    for duty in timetable.duties:
        own[duty.kind, duty.person].append(duty)
    for person in request.examiners:
        duties = own["examiner", person.id]
        yield from _helper(request, person, duties)
        if len({duty.place for duty in duties}) > request.rules.most_stations:
            yield f"{person.id} is asked to mark {len({d.place for d in duties})} stations."
        if person.new:
            yield from _new(request, timetable, duties)
    for actor in request.actors:
        duties = own["actor", actor.id]
        yield from _helper(request, actor, duties)
        for sessions in request.days.values():
            today = [duty for duty in duties if duty.session in sessions]
            strain = sum(
                request.places[duty.place].strain * len(timetable.of_run(duty.run))
                for duty in today
            )
            if actor.most_strain is not None and strain > actor.most_strain:
                yield f"{actor.id} bears {strain} in a day, and can bear {actor.most_strain}."
    yield from _sit_apart(request, timetable)


def _helper(request: CircuitRequest, person: Helper, duties: list[Duty]) -> Iterator[str]:
    for duty in duties:
        station = request.places[duty.place].station
        if person.stations and station not in person.stations:
            yield f"{person.id} is not meant for {station}."
        if person.sessions and duty.session not in person.sessions:
            yield f"{person.id} cannot come to {duty.session}."
        if person.wheelchair and not request.circuit(duty.circuit).wheelchair:
            yield f"{person.id} cannot use circuit {duty.circuit}."
    sessions = {duty.session for duty in duties}
    if len(sessions) != len(duties):
        yield f"{person.id} sits twice in one session."
    if person.most_sessions is not None and len(sessions) > person.most_sessions:
        yield f"{person.id} works in {len(sessions)} sessions."


def _new(request: CircuitRequest, timetable: Timetable, duties: list[Duty]) -> Iterator[str]:
    experienced = {one.id for one in request.examiners if not one.new}
    for duty in duties:
        beside = {
            one.person
            for one in timetable.duties
            if one.kind == "examiner" and (one.run, one.place) == (duty.run, duty.place)
        }
        if not beside & experienced:
            yield f"{duty.person} is new and sits alone in {duty.circuit}, {duty.session}."


def _sit_apart(request: CircuitRequest, timetable: Timetable) -> Iterator[str]:
    people = {"examiner": request.examiners, "actor": request.actors}
    at = defaultdict(set)
    for duty in timetable.duties:
        at[duty.kind, duty.run, duty.place].add(duty.person)
    for (kind, run, _), names in at.items():
        for person in people[kind]:
            if person.id in names and names & set(person.apart):
                yield f"{person.id} sits beside somebody to be kept apart, {run.session}."
