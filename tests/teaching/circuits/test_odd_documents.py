"""Whatever stands in a file of a teacher is read or refused in words, never with a traceback."""

from __future__ import annotations

import json
import random
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.teaching.circuits.allocation import NoTimetable, make_timetable
from sidewise.teaching.circuits.faults import timetable_faults
from sidewise.teaching.circuits.request_file import circuit_request
from sidewise.teaching.circuits.timetable_file import read_timetable
from sidewise.teaching.stations.paper_marks import typed_sheets
from sidewise.teaching.stations.station_file import parse_station
from tests.teaching.circuits.days import day, with_person
from tests.teaching.stations.test_station_files import plain

ODD = st.sampled_from([
    None, "", " ", "x", 0, -1, 1.5, 1e400, float("nan"), True, [], {}, [[]], [None], {"id": "x"},
    "a" * 400, "\x00", "\ud83d", "../x", "E1", [{"id": "E1"}], "2026-05-04", "no", 10**30, "٣",
])  # fmt: skip
OURS = settings(max_examples=150, deadline=None, derandomize=True,
                suppress_health_check=list(HealthCheck))  # fmt: skip


def paths(value: Any, place: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Every place of a document."""
    return [(*place, key) for key, _ in inner_of(value)] + [
        deeper
        for key, one in inner_of(value)
        if isinstance(one, dict | list)
        for deeper in paths(one, (*place, key))
    ]


def inner_of(value: Any) -> list[tuple[Any, Any]]:
    return list(value.items() if isinstance(value, dict) else enumerate(value))


def with_odd(document: Any, place: tuple[Any, ...], odd: Any) -> Any:
    """The document with something odd at a place."""
    changed = json.loads(json.dumps(document))
    inner = changed
    for key in place[:-1]:
        inner = inner[key]
    inner[place[-1]] = odd
    return changed


def refused_or(read: Any, *arguments: Any) -> Any:
    """What was read; None where it was refused in words."""
    try:
        return read(*arguments)
    except UserError:
        return None


STATION = yaml.safe_load(plain(critical=["harm"], good=["well"], conditions=["c"]))
DAY = day(students=2, stations=2, sessions=1, examiners=2,
          actors=[{"id": "P1", "most_strain": 3}], rules={"in_a_row": 1})  # fmt: skip


@given(st.sampled_from(paths(STATION)), ODD)
@OURS
def test_odd_stations(place: tuple[Any, ...], odd: Any) -> None:
    text = json.dumps(with_odd(STATION, place, odd))
    station = refused_or(parse_station, text, "s.json")
    if station is not None:
        assert station.adds_up


@given(st.sampled_from(paths(DAY)), ODD)
@OURS
def test_odd_requests(place: tuple[Any, ...], odd: Any) -> None:
    asked = refused_or(circuit_request, with_odd(DAY, place, odd), "d.json")
    if asked is not None:
        assert asked.runs


@given(st.text(max_size=60))
@OURS
def test_odd_text(text: str) -> None:
    for name in ("s.yaml", "s.json"):
        refused_or(parse_station, text, name)
    refused_or(typed_sheets, parse_station(plain(), "t.yaml"), text, "t.csv")


HEAD = "circuit,session,examiner,student,a,b,rating,critical,comment\n"


@given(st.lists(st.sampled_from(["", "0", "1", "2", "3", "E1", "pass", '"', "yes", "=1", "٢"]),
                min_size=5, max_size=12))  # fmt: skip
@OURS
def test_odd_rows_of_typed_sheets(cells: list[str]) -> None:
    found = refused_or(typed_sheets, parse_station(plain(), "t.yaml"), HEAD + ",".join(cells), "t")
    for row in found.rows if found else ():
        assert row["mark"] == "" or 0 <= float(row["mark"]) <= float(row["maximum"])


@pytest.mark.parametrize(
    "text", ["{}", "[]", "", '{"format": "sidewise-timetable/1", "starts": 1}']
)
def test_odd_timetables(text: str, tmp_path: Path) -> None:
    (tmp_path / "t.json").write_text(text)
    with pytest.raises(UserError):
        read_timetable(tmp_path / "t.json")


MIDDLING = [0, 1, *(pytest.param(k, marks=pytest.mark.long) for k in range(2, 12))]


def middling_day(seed: int) -> dict[str, Any]:
    """A random day of ten to twenty students with every kind of need."""
    lot = random.Random(seed)
    data = day(students=lot.randint(10, 20), stations=4, circuits="AB", sessions=4,
               examiners=lot.randint(10, 13))  # fmt: skip
    data["places"][1] |= {"examiners": 2, "actors": 1, "strain": lot.randint(0, 3)}
    data["places"].insert(2, {"kind": lot.choice(["rest", "preparation"])})
    data["circuits"][1]["wheelchair"] = lot.random() < 0.5
    data["actors"] = [{"id": f"P{k}", "most_strain": lot.randint(8, 20)} for k in range(4)]
    names = [one["id"] for one in data["students"]]
    for name in lot.sample(names, 5):
        fields: dict[str, Any] = {"not_by": lot.sample(["E1", "E2", "E3", "E4"], 2)}
        other = lot.choice([n for n in names if n != name])
        fields |= lot.choice([{"wheelchair": True}, {"extra_time": 1.25}, {"apart": [other]},
                              {"sessions": ["m1", "m4"]}])  # fmt: skip
        data = with_person(data, "students", name, **fields)
    for name in ("E1", "E2", "E5"):
        fields = lot.choice([{"new": True}, {"stations": ["s1", "s2"]}, {"most_sessions": 1},
                             {"sessions": ["m1", "m2"]}, {"apart": ["E3"]}])  # fmt: skip
        data = with_person(data, "examiners", name, **fields)
    return data


@pytest.mark.parametrize("seed", MIDDLING)
def test_a_middling_day_is_without_fault_or_is_refused(seed: int) -> None:
    asked = circuit_request(middling_day(seed), "day.yaml")
    try:
        found = make_timetable(asked)
    except NoTimetable:
        return
    assert timetable_faults(asked, found.timetable) == []
    assert found.bound <= found.cost
