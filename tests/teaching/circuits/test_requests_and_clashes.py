"""Requests from files, and what is said where no timetable keeps every rule."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from sidewise.errors import UserError, UserErrors
from sidewise.teaching.circuits.allocation import NoTimetable, make_timetable
from sidewise.teaching.circuits.clashes import clashing_rules
from sidewise.teaching.circuits.request_file import circuit_request, read_circuit_request
from tests.teaching.circuits.days import day, request, with_person


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"students": [{"id": "101"}, {"id": "101"}]}, "101 more than once"),
        ({"students": [{"id": "101", "not_by": ["E9"]}]}, "students.101.not_by"),
        ({"students": [{"id": "101", "apart": ["101"]}]}, "students.101.apart"),
        ({"students": [{"id": "101", "extra_time": 0.5}]}, "extra_time"),
        ({"places": [{"station": "s1"}, {"kind": "preparation"}]}, "at the end"),
        ({"places": [{"kind": "preparation"}, {"kind": "rest"}, {"station": "s1"}]},
         "a station behind it"),
        ({"places": [{"station": "s1"}, {"station": "s1"}]}, "s1 more than once"),
        ({"places": [{"kind": "rest", "station": "s1"}, {"station": "s2"}]},
         "a name for a station"),
        ({"circuits": [{"id": "A", "rooms": ["1"]}]}, "3, one for each place"),
        ({"sessions": [{"id": "m1", "starts": "2026-05-04T08:30:00"}]}, "sessions"),
        ({"sessions": [{"id": "m1", "starts": "2026-05-04T08:30:00+01:00"},
                       {"id": "m2", "starts": "2026-05-04T08:45:00+01:00"}]},
         "at least 28 minutes after m1 starts"),
        ({"colour": "blue"}, "only the fields of the format"),
        ({"format": "another/1"}, "format: got"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_at_its_place(changes: dict[str, Any], message: str) -> None:
    with pytest.raises(UserError, match=message):
        circuit_request(day() | changes, "day.yaml")


def test_people_come_from_tables_beside_the_file(tmp_path: Path) -> None:
    data = day() | {"students": "students.csv"}
    (tmp_path / "day.yaml").write_text(yaml.safe_dump(data))
    (tmp_path / "students.csv").write_text(
        "id,not_by,wheelchair,extra_time\n101,E1 E2,yes,\n102,,no,1.25\n"
    )
    found = read_circuit_request(tmp_path / "day.yaml").students
    assert found[0].not_by == ("E1", "E2")
    assert (found[0].wheelchair, found[1].wheelchair, found[1].extra_time) == (True, False, 1.25)


def test_no_table_outside_the_folder_is_opened(tmp_path: Path) -> None:
    (tmp_path / "inner").mkdir()
    (tmp_path / "secret.csv").write_text("id\n101\n")
    data = day() | {"students": "../secret.csv"}
    (tmp_path / "inner" / "day.yaml").write_text(yaml.safe_dump(data))
    with pytest.raises(UserError, match=r"secret.csv: got"):
        read_circuit_request(tmp_path / "inner" / "day.yaml")


@pytest.mark.parametrize(("minutes", "extra", "seconds"),
                         [(8, 1, 480), (8, 1.25, 600), (7, 1.1, 480), (10, 1.1, 660),
                          (7, 1.25, 540)])  # fmt: skip
def test_longer_rounds_end_at_the_next_half_minute(
    minutes: float, extra: float, seconds: int
) -> None:
    """By hand: 7 x 1.1 is 7.7, so 8 minutes; 7 x 1.25 is 8.75, so 9."""
    asked = request(minutes=minutes)
    assert asked.round_length(extra).total_seconds() == seconds


# ------------------------------------------------------------------ nothing fits


def refused(data: dict[str, Any]) -> NoTimetable:
    with pytest.raises(NoTimetable) as found:
        make_timetable(circuit_request(data, "day.yaml"))
    return found.value


def test_examiners_short_by_two_are_counted() -> None:
    """Two circuits of three stations need six; there are four, and the students need both."""
    told = refused(day(students=6, stations=3, circuits="AB", sessions=1, examiners=4))
    assert "enough for 1 circuit with 3 places; there are 6 students" in told.message
    assert "m1 has 1 of 2 circuits staffed, 2 examiners short" in told.message


def test_too_many_students_are_counted() -> None:
    told = refused(day(students=7, stations=3, sessions=2, examiners=4))
    assert "7 students and 6 places to begin in 2 circuits run: 1 too many" in told.message


def test_one_tutor_of_everybody_clashes_with_the_staff_that_is_needed() -> None:
    data = day(students=3, stations=3, sessions=1, examiners=3)
    data = with_person(data, "students", "101", not_by=["E2"])
    told = refused(data)
    assert told.clash is not None
    rules = {(rule.rule, rule.who) for rule in told.clash.rules}
    assert ("not by", "E2") in rules
    assert {rule for rule, _ in rules} == {"not by", "staff"}
    assert "no marking of their own tutees" in told.message
    assert told.clash.smallest


def test_a_language_that_nobody_speaks_is_named() -> None:
    told = refused(with_person(day(), "students", "101", language="cy"))
    assert "s1 has 0 examiners who speak cy, 1 needed" in told.message


def test_a_language_spoken_in_another_session_only_is_named() -> None:
    data = day(students=2, stations=1, sessions=2, examiners=2)
    data = with_person(data, "students", "101", language="cy", sessions=["m1"])
    data = with_person(data, "examiners", "E1", languages=["cy", "en"], sessions=["m2"])
    assert "cy: spoken by everybody" in refused(data).message


def test_a_new_examiner_who_would_sit_alone_is_named() -> None:
    data = with_person(day(examiners=3), "examiners", "E1", new=True)
    assert "E1: new, so never alone" in refused(data).message


@pytest.mark.parametrize(
    ("rules", "clashing"),
    [({"in_a_row": 2}, "most sessions"), ({"in_a_row": 1}, "in a row")],
)
def test_rest_is_named_where_it_clashes(rules: dict[str, Any], clashing: str) -> None:
    data = day(students=6, stations=3, sessions=2, examiners=3, rules=rules)
    if clashing == "most sessions":
        data = with_person(data, "examiners", "E1", most_sessions=1)
    told = refused(data)
    assert told.clash is not None
    assert clashing in {rule.rule for rule in told.clash.rules}


def test_without_any_rule_of_the_smallest_clash_the_rest_is_kept() -> None:
    """The set that is named is irreducible: relax any one of it and there is a timetable."""
    data = day(students=3, stations=3, sessions=1, examiners=4)
    data = with_person(data, "students", "101", not_by=["E2"])
    data = with_person(data, "examiners", "E1", sessions=["m1"], stations=["s1"])
    data = with_person(data, "examiners", "E3", stations=["s1"])
    clash = clashing_rules(circuit_request(data, "d"))
    assert clash.smallest
    named = {rule.who for rule in clash.rules if rule.rule in ("stations", "not by")}
    assert named == {"E1", "E2", "E3"}
    for who in named:
        relaxed = with_person(data, "examiners", who, stations=[])
        if who == "E2":
            relaxed = with_person(data, "students", "101", not_by=[])
        assert make_timetable(circuit_request(relaxed, "d")).runs == 1


def test_an_error_of_no_timetable_travels_between_processes() -> None:
    import pickle

    told = refused(with_person(day(examiners=3), "examiners", "E1", new=True))
    again = pickle.loads(pickle.dumps(told))
    assert (again.message, again.clash) == (told.message, told.clash)
    assert not isinstance(told, UserErrors)
