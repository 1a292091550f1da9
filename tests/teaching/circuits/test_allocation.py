"""Timetables against a checker written apart, and on small days against every one there is."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from sidewise.teaching.circuits.allocation import NoTimetable, make_again, make_timetable
from sidewise.teaching.circuits.faults import timetable_faults
from sidewise.teaching.circuits.request import CircuitRequest, CircuitRun
from sidewise.teaching.circuits.request_file import circuit_request
from sidewise.teaching.circuits.timetable import Duty, Start, Timetable, duty_rounds, student_day
from tests.teaching.circuits.days import day, request, with_person


def rich() -> dict[str, Any]:
    """A day with one of everything."""
    data = day(students=13, stations=3, circuits="AB", sessions=3, examiners=11)
    data["places"] = [
        {"station": "s1", "actors": 1, "strain": 2}, {"kind": "rest"},
        {"kind": "preparation"}, {"station": "s2", "examiners": 2}, {"station": "s3"},
    ]  # fmt: skip
    data["circuits"] = [{"id": "A"}, {"id": "B", "wheelchair": False}]
    data["actors"] = [{"id": "P1", "most_strain": 8, "languages": ["en", "fr"]},
                      {"id": "P2"}, {"id": "P3", "sessions": ["m1", "m3"]}]  # fmt: skip
    data = with_person(data, "students", "101", wheelchair=True, not_by=["E1", "E2"])
    data = with_person(data, "students", "102", extra_time=1.25)
    data = with_person(data, "students", "103", language="fr")
    data = with_person(data, "students", "104", apart=["105"], sessions=["m1"])
    data = with_person(data, "examiners", "E3", new=True)
    data = with_person(data, "examiners", "E4", apart=["E5"], stations=["s2", "s3"])
    data = with_person(data, "examiners", "E6", sessions=["m1", "m2"], wheelchair=True)
    for name in ("E7", "E8", "E9", "E10"):
        data = with_person(data, "examiners", name, languages=["en", "fr"])
    return data


@pytest.fixture(scope="module")
def made() -> tuple[CircuitRequest, Timetable]:
    asked = circuit_request(rich(), "day.yaml")
    return asked, make_timetable(asked).timetable


def test_a_day_with_every_rule_is_without_fault(made: Any) -> None:
    assert timetable_faults(*made) == []


def test_the_same_request_gives_the_same_timetable(made: Any) -> None:
    asked, timetable = made
    assert make_timetable(asked).timetable == timetable


def test_every_student_meets_every_station_once(made: Any) -> None:
    asked, timetable = made
    met: dict[str, list[int]] = {}
    for duty in timetable.duties:
        if duty.kind == "examiner":
            for line in duty_rounds(asked, timetable, duty):
                met.setdefault(line.student, []).append(line.place)
    met.pop("", None)
    # Two examiners sit at the second station.
    assert {tuple(sorted(places)) for places in met.values()} == {(0, 3, 3, 4)}
    assert len(met) == 13


def test_who_prepares_does_so_right_before(made: Any) -> None:
    asked, timetable = made
    swept = 0
    for start in timetable.starts:
        places = [line.place for line in student_day(asked, timetable, start)]
        assert places.index(3) == places.index(2) + 1
        swept += 1
    assert swept == 13


def spoilt(asked: CircuitRequest, timetable: Timetable) -> Iterator[tuple[str, Timetable]]:
    """Timetables that each break one rule, with a word of the complaint."""
    starts, duties = timetable.starts, timetable.duties
    yield "examined 0 times", replace(timetable, starts=starts[1:])
    yield "examined 2 times", replace(timetable, starts=(*starts, replace(starts[0], place=1)))
    yield "without preparing", replace(timetable, starts=(replace(starts[0], place=3), *starts[1:]))
    yield "needed", replace(timetable, duties=duties[1:])
    yield (
        "not on the list",
        replace(timetable, duties=(replace(duties[0], person="X"), *duties[1:])),
    )
    for old, new, word in (("examiner", "E3", "sits alone"), ("examiner", "E1", "would mark 101")):
        for k, duty in enumerate(duties):
            same = [s.student for s in timetable.of_run(duty.run)]
            single = asked.places[duty.place].examiners == 1
            if duty.kind == old and single and ("101" in same or new == "E3"):
                changed = replace(duty, person=new)
                yield word, replace(timetable, duties=(*duties[:k], changed, *duties[k + 1 :]))
                break


def test_the_checker_finds_what_was_spoilt(made: Any) -> None:
    swept = 0
    for word, timetable in spoilt(*made):
        assert any(word in line for line in timetable_faults(made[0], timetable)), word
        swept += 1
    assert swept == 7


def swapped(timetable: Timetable, one: str, other: str) -> Timetable:
    names = {one: other, other: one}
    return replace(
        timetable,
        starts=tuple(replace(s, student=names.get(s.student, s.student)) for s in timetable.starts),
    )


def test_a_student_in_another_ones_seat_is_found(made: Any) -> None:
    """Each need is seen when its student is put where somebody without it was."""
    asked, timetable = made
    for name, word in (("101", "cannot use"), ("104", "cannot come"), ("103", "does not speak")):
        complaints = [
            line
            for other in (s.student for s in timetable.starts)
            for line in timetable_faults(asked, swapped(timetable, name, other))
        ]
        assert any(word in line for line in complaints), word


# ------------------------------------------------------------------ brute force


def every_allocation(asked: CircuitRequest) -> Iterator[Timetable]:
    """Every way to put students into runs (first places filled in order) and examiners at posts,
    each station with one examiner. Independent of the model: it knows no rule but arithmetic."""
    room = len(asked.first_places)
    names = [student.id for student in asked.students]
    for runs in product(asked.runs, repeat=len(names)):
        there = sorted(set(runs))
        if any(runs.count(run) > room for run in there):
            continue
        starts = []
        for run in there:
            members = [name for name, where in zip(names, runs, strict=True) if where == run]
            places = asked.first_places
            starts += [Start(*run, place, n) for place, n in zip(places, members, strict=False)]
        for duties in _staffings(asked, there):
            yield Timetable(tuple(sorted(starts)), tuple(sorted(duties)))


def _staffings(asked: CircuitRequest, there: list[CircuitRun]) -> Iterator[list[Duty]]:
    posts = [(run, place) for run in there for place in asked.stations.values()]
    for people in product([one.id for one in asked.examiners], repeat=len(posts)):
        sits = [(run.session, who) for (run, _), who in zip(posts, people, strict=True)]
        if len(set(sits)) == len(sits):
            yield [Duty(*run, place, "examiner", who)
                   for (run, place), who in zip(posts, people, strict=True)]  # fmt: skip


QUICK = 16
"""Seeds of days with at most two runs; those above have four, and thousands of allocations."""
SEEDS = [*range(QUICK), *(pytest.param(k, marks=pytest.mark.long) for k in range(QUICK, 28))]


def small_day(seed: int) -> dict[str, Any]:
    """A random day of three students, two stations, three or four examiners."""
    lot = random.Random(seed)
    circuits, sessions_there = lot.choice([(1, 1), (1, 2), (2, 1)] if seed < QUICK else [(2, 2)])
    data = day(students=3, stations=2, circuits="AB"[:circuits], sessions=sessions_there,
               examiners=lot.randint(3, 4))  # fmt: skip
    sessions = [one["id"] for one in data["sessions"]]
    for student in data["students"]:
        fields: dict[str, Any] = {"not_by": lot.sample(["E1", "E2", "E3"], lot.randint(0, 1))}
        if lot.random() < 0.3:
            fields["sessions"] = [lot.choice(sessions)]
        if lot.random() < 0.3:
            fields["extra_time"] = 1.5
        if lot.random() < 0.2:
            fields["language"] = "fr"
        data = with_person(data, "students", student["id"], **fields)
    for person in data["examiners"]:
        fields = {"languages": ["en", "fr"] if lot.random() < 0.6 else ["en"]}
        if lot.random() < 0.3:
            fields["stations"] = [lot.choice(["s1", "s2"])]
        if lot.random() < 0.2:
            fields["sessions"] = [lot.choice(sessions)]
        data = with_person(data, "examiners", person["id"], **fields)
    data["rules"] = {"in_a_row": lot.randint(1, 2), "most_stations": lot.randint(1, 2)}
    return data


def cost_of(asked: CircuitRequest, timetable: Timetable) -> tuple[int, int, int]:
    """Runs, runs with longer rounds, and how unevenly they are filled, from the lists."""
    given = {student.id: student.extra_time for student in asked.students}
    runs = {start.run for start in timetable.starts}
    slow = {start.run for start in timetable.starts if given[start.student] > 1}
    fill = [len(timetable.of_run(run)) for run in runs]
    return len(runs), len(slow), max(fill) - min(fill)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_allocation_there_is_is_better(seed: int) -> None:
    asked = circuit_request(small_day(seed), "day.yaml")
    costs = [
        cost_of(asked, one) for one in every_allocation(asked) if not timetable_faults(asked, one)
    ]
    try:
        found = make_timetable(asked)
    except NoTimetable:
        assert not costs
        return
    assert found.proven
    assert cost_of(asked, found.timetable) == min(costs)
    assert (found.runs, found.slow) == min(costs)[:2]


def test_the_small_days_hold_both_kinds() -> None:
    outcomes = set()
    for seed in range(QUICK):
        asked = circuit_request(small_day(seed), "day.yaml")
        try:
            make_timetable(asked)
            outcomes.add("found")
        except NoTimetable:
            outcomes.add("none")
    assert outcomes == {"found", "none"}


# ------------------------------------------------------------------ late changes


def moves_between(old: Timetable, new: Timetable) -> int:
    """People elsewhere than before, counted from the lists."""
    was = {start.student: start.run for start in old.starts}
    students = sum(was.get(start.student) not in (None, start.run) for start in new.starts)
    return students + len(set(new.duties) - set(old.duties))


def test_an_ill_examiner_is_replaced_by_as_few_moves_as_there_are_posts() -> None:
    data = day(students=6, stations=3, circuits="A", sessions=2, examiners=5)
    before = make_timetable(circuit_request(data, "d")).timetable
    ill = next(duty.person for duty in before.duties)
    posts = sum(duty.person == ill for duty in before.duties)
    data["examiners"] = [one for one in data["examiners"] if one["id"] != ill]
    found = make_again(circuit_request(data, "d"), before)
    assert found.proven
    assert found.moves == moves_between(before, found.timetable) == posts
    assert found.timetable.starts == before.starts


def test_nothing_moves_where_nothing_changed(made: Any) -> None:
    asked, timetable = made
    found = make_again(asked, timetable)
    assert (found.timetable, found.moves, found.proven) == (timetable, 0, True)


def test_what_is_over_is_not_changed() -> None:
    data = day(students=6, stations=3, circuits="A", sessions=2, examiners=5)
    before = make_timetable(circuit_request(data, "d")).timetable
    first = [d for d in before.duties if d.session == "m1"]
    data = with_person(data, "examiners", first[0].person, sessions=["m1"])
    data = with_person(data, "examiners", first[1].person, sessions=["m1"])
    found = make_again(circuit_request(data, "d"), before, done=("m1",)).timetable
    assert [d for d in found.duties if d.session == "m1"] == first
    gone = {first[0].person, first[1].person}
    assert not gone & {d.person for d in found.duties if d.session == "m2"}


@pytest.mark.parametrize("seed", range(4))
def test_no_way_to_replace_moves_fewer(seed: int) -> None:
    """Every allocation that there is, where one examiner has fallen ill."""
    data = day(students=3, stations=2, circuits="A", sessions=2, examiners=4)
    data["rules"] = {"seed": seed}
    before = make_timetable(circuit_request(data, "d")).timetable
    ill = sorted({duty.person for duty in before.duties})[seed % 2]
    lot = random.Random(seed)
    data["examiners"] = [one for one in data["examiners"] if one["id"] != ill]
    data = with_person(data, "students", "101", not_by=[lot.choice(data["examiners"])["id"]])
    asked = circuit_request(data, "d")
    fewest = min(
        moves_between(before, one)
        for one in every_allocation(asked)
        if not timetable_faults(asked, one)
    )
    found = make_again(asked, before)
    assert found.moves == moves_between(before, found.timetable) == fewest


def test_students_alike_are_allocated_by_lot() -> None:
    """With another seed others meet; who sits with whom is not the order of the list."""
    firsts = set()
    for seed in range(6):
        asked = request(students=6, stations=3, sessions=2, examiners=6, rules={"seed": seed})
        found = make_timetable(asked).timetable
        firsts.add(frozenset(s.student for s in found.starts if s.session == "m1"))
    assert len(firsts) > 3
