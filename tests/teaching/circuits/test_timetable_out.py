"""Timetables on paper, in calendars and as documents, and the command that makes them."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from icalendar import Calendar
from typer.testing import CliRunner, Result

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.teaching.circuits.absences import request_without
from sidewise.teaching.circuits.allocation import make_timetable
from sidewise.teaching.circuits.calendars import person_calendars
from sidewise.teaching.circuits.faults import timetable_faults
from sidewise.teaching.circuits.paper_rows import paper_rows
from sidewise.teaching.circuits.request_file import circuit_request, read_circuit_request
from sidewise.teaching.circuits.timetable_file import read_timetable
from sidewise.teaching.report.timetable_pages import door_sheets, helper_sheets, student_sheets
from sidewise.teaching.stations.paper_marks import typed_sheets
from sidewise.teaching.stations.station_file import read_station
from tests.teaching.circuits.days import day, with_person

EXAMPLES = Path(__file__).parents[3] / "examples" / "stations"
DAY = EXAMPLES.parent / "circuits" / "day.yaml"
MADE = datetime(2026, 4, 30, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def made() -> Any:
    asked = read_circuit_request(DAY)
    return asked, make_timetable(asked).timetable


def run(*words: str) -> Result:
    found = CliRunner().invoke(app, ["timetable", *words])
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Everything that the command writes of the example."""
    out = tmp_path_factory.mktemp("day")
    words = [str(DAY), "--out", str(out)]
    assert run(*words, "--paper", str(EXAMPLES / "lifting.yaml")).exit_code == 0
    return out


def test_a_calendar_is_read_by_another_program_at_the_right_hours(made: Any) -> None:
    """RFC 5545, read again by the library; the hours are those of the request, in UTC."""
    asked, timetable = made
    found = {(one.kind, one.person): one.content for one in person_calendars(*made, MADE)}
    assert len([key for key in found if key[0] == "student"]) == 12
    start = timetable.starts[0]
    (event,) = Calendar.from_ical(found["student", start.student]).walk("VEVENT")
    assert event.decoded("dtstart") == asked.session(start.session).starts
    assert event.decoded("dtstamp") == MADE
    assert event["uid"]


def test_a_calendar_tells_nothing_of_what_is_examined(made: Any) -> None:
    for one in person_calendars(*made, MADE):
        assert not any(name in one.content.decode() for name in ("lifting", "stiff", "explaining"))
        assert b"\r\n" in one.content
        assert max(map(len, one.content.split(b"\r\n"))) <= 75


def test_an_entry_keeps_its_name_when_somebody_is_moved(made: Any) -> None:
    """By RFC 5545, 3.8.4.7, an entry is known by its UID: a moved one replaces the old."""
    asked, timetable = made
    runs = {s.circuit: s for s in timetable.starts if s.session == "early"}
    one, other = runs.values()
    moved = timetable.__class__(
        tuple(sorted(s if s != one else s.__class__(other.session, other.circuit, 9, one.student)
                     for s in timetable.starts if s != other)),
        timetable.duties,
    )  # fmt: skip
    uid = {p.content[p.content.index(b"UID") :][:40] for t in (timetable, moved)
           for p in person_calendars(asked, t, MADE) if p.person == one.student}  # fmt: skip
    assert len(uid) == 1


def test_a_students_sheet_names_no_station(made: Any) -> None:
    page = student_sheets(*made)
    assert not any(name in page for name in ("lifting", "stiff", "explaining"))
    assert page.count("<section>") == 12


def test_who_waits_for_another_ones_extra_time_is_told(made: Any) -> None:
    asked, timetable = made
    slow = next(s.run for s in timetable.starts if s.student == "103")
    others = len(timetable.of_run(slow)) - 1
    assert student_sheets(asked, timetable).count("You work for 8 minutes and then wait") == others


def test_doors_examiners_and_students_tell_the_same(made: Any) -> None:
    """A student's name stands as often on doors as there are places, on examiners' sheets as there
    are stations with one."""
    asked, timetable = made
    doors, sheets = door_sheets(asked, timetable), helper_sheets(asked, timetable, "examiner")
    for student in asked.students:
        assert doors.count(f"<td>{student.id}</td>") == len(asked.places)
        assert sheets.count(f"<td>{student.id}</td>") == len(asked.stations)


def test_numbered_paper_is_typed_back_as_marks(made: Any) -> None:
    asked, timetable = made
    station = read_station(EXAMPLES / "lifting.yaml")
    rows = paper_rows(asked, timetable, "lifting")
    assert sorted(row[3] for row in rows) == sorted(one.id for one in asked.students)
    heads = ",".join(["circuit,session,examiner,student", *(s.id for s in station.steps),
                      "rating,critical,comment"])  # fmt: skip
    boxes = ",".join("2" for _ in station.steps)
    text = "\n".join([heads, *(f"{','.join(row)},{boxes},pass,," for row in rows)])
    found = typed_sheets(station, text, "t", students={one.id for one in asked.students})
    assert sum(float(row["mark"]) for row in found.rows) == 12 * station.total


def test_a_timetable_written_is_read_the_same_and_has_no_fault(folder: Path, made: Any) -> None:
    found = read_timetable(folder / "timetable.json")
    assert found == made[1]
    assert timetable_faults(made[0], found) == []
    names = {path.name for path in folder.iterdir()}
    assert {"students.html", "examiners.html", "actors.html", "doors.html", "calendars",
            "marks-lifting.html", "entry-lifting.csv"} <= names  # fmt: skip


def test_a_missing_actor_moves_nobody_else(folder: Path) -> None:
    actor = next(d.person for d in read_timetable(folder / "timetable.json").duties
                 if d.kind == "actor" and d.person in ("P1", "P2", "P7"))  # fmt: skip
    found = run(str(DAY), "--was", str(folder / "timetable.json"),
                "--without", actor, "--json")  # fmt: skip
    assert found.exit_code == 0
    told = json.loads(found.stdout)
    assert told["figures"]["proven"]
    assert actor not in {duty["person"] for duty in told["duties"]}


def test_check_says_what_an_edited_timetable_breaks(folder: Path, tmp_path: Path) -> None:
    told = json.loads((folder / "timetable.json").read_text())
    assert run(str(DAY), "--check", str(folder / "timetable.json")).exit_code == 0
    told["duties"] = told["duties"][1:]
    (tmp_path / "edited.json").write_text(json.dumps(told))
    found = run(str(DAY), "--check", str(tmp_path / "edited.json"))
    assert found.exit_code == 1
    assert "needed" in found.stdout


def test_an_edited_document_that_is_none_is_refused(tmp_path: Path) -> None:
    for text in ('{"format": "sidewise-timetable/1"}', '{"format": "another/1"}', "[]"):
        (tmp_path / "t.json").write_text(text)
        with pytest.raises(UserError):
            read_timetable(tmp_path / "t.json")


def test_who_is_absent_is_gone_everywhere() -> None:
    data = with_person(day(), "students", "101", not_by=["E2"], apart=["102"])
    asked = circuit_request(data, "d")
    left = request_without(asked, ["E2", "102"])
    assert {one.id for one in left.examiners} == {"E1", "E3", "E4"}
    assert (left.students[0].not_by, left.students[0].apart) == ((), ())
    with pytest.raises(UserError, match="people of the request"):
        request_without(asked, ["E9"])


def test_who_was_there_in_what_is_over_stays_there() -> None:
    left = request_without(circuit_request(day(), "d"), ["E2"], ["m1"])
    assert next(one for one in left.examiners if one.id == "E2").sessions == ("m1",)


def test_sessions_that_are_over_need_the_timetable_so_far() -> None:
    with pytest.raises(UserError, match="--was FILE as well"):
        run(str(DAY), "--done", "early")
