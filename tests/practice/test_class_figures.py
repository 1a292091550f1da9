"""A class's figures, its table and its statements.

Expected of the figures, written before they were first run: a flag missed once asks for help
whatever the scores; one side alone twice in three cases is a habit, once is not; whoever has not
begun is not forgotten; a finding is misread where the chance was stated against it, and by that
alone.
"""

from __future__ import annotations

import csv
import io
import json
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import ttest_1samp

from sidewise.errors import UserError
from sidewise.practice.class_figures import (
    PLAYED_COLUMNS,
    PlayedCase,
    class_figures,
    played_case,
    played_table,
    statement_of,
    statements_text,
)
from sidewise.practice.class_figures.figures import mean_interval
from tests.practice.learner_games import told

DAY = datetime(2026, 3, 2, 9, tzinfo=UTC)
HOME = "https://school.example"
LIMIT = "right external rotation, arm at the side (lost) for it"
FREE = "left abduction (free) against it"


def case(
    student: str = "S1", day: int = 0, *, flags: tuple[str, ...] = (), stated: float = 0.5,
    warranted: float = 0.5, because: tuple[str, ...] = (LIMIT,), one_sided: bool = False,
    brier: float = 0.1, perfect: float = 0.1, called: str = "", title: str = "", group: str = "",
) -> PlayedCase:  # fmt: skip
    item = {"item": "abduction", "label": "abduction", "why": ""}
    document: dict[str, Any] = {
        "format": "sidewise-feedback/1", "case": f"case-{day}", "region": "shoulder",
        "flags_missed": [{"label": flag} for flag in flags],
        "stated": {"brier": brier, "log": 1.0}, "perfect": {"brier": perfect, "log": 1.0},
        "groups": [{"group": "frozen", "label": "frozen shoulder", "stated": stated,
                    "warranted": warranted, "there": True, "because": list(because)}],
        "essentials_left_out": [{**item, "label": "axilla", "why": called}],
        "not_compared": [item] if one_sided else [], "swapped": [], "needless": [],
        "seconds": 480, "soreness": 2.5, "hints": 1, "one_thing": {"kind": "nothing"},
    }  # fmt: skip
    return played_case(student, DAY + timedelta(days=day), document, title=title, group=group)


def help_of(*played: PlayedCase) -> tuple[str, ...]:
    return class_figures(["S1"], played).progress[0].help_with


def test_a_flag_missed_once_asks_for_help_whatever_the_scores() -> None:
    (why,) = help_of(case(day=0, flags=("lump in the axilla",), brier=0.0), case(day=1, brier=0.0))
    assert "lump in the axilla" in why


def test_a_flag_missed_long_ago_is_counted_and_no_longer_asks_for_help() -> None:
    played = [case(day=0, flags=("fever",)), *(case(day=day) for day in (1, 2, 3))]
    (row,) = class_figures(["S1"], played).progress
    assert row.with_flags == 1
    assert row.help_with == ()


def test_one_side_alone_twice_is_a_habit_and_once_is_not() -> None:
    assert help_of(case(day=0, one_sided=True), case(day=1)) == ()
    (why,) = help_of(case(day=0, one_sided=True), case(day=1, one_sided=True))
    assert "one side alone in 2" in why


def test_chances_further_off_than_findings_allow_only_where_the_interval_says_so() -> None:
    far = [case(day=day, brier=0.30 + day / 100, perfect=0.1) for day in range(4)]
    assert any("further from the truth" in why for why in help_of(*far))
    # One case says nothing of a habit, however bad it was.
    assert help_of(far[0]) == ()


def test_whoever_has_not_begun_is_named_and_strangers_are_not() -> None:
    figures = class_figures(["S1", "S2"], [case("S1"), case("S9")])
    assert {one.student for one in figures.progress} == {"S1", "S2"}
    assert figures.cases == 1
    assert figures.progress[0].student == "S2", "who needs help stands first"
    assert "not finished a case" in figures.progress[0].help_with[0]
    assert figures.progress[0].excess is None, "without a case there is no score"


def test_a_finding_is_misread_where_the_chance_was_stated_against_it() -> None:
    played = [
        case("S1", stated=0.2, warranted=0.8), case("S2", stated=0.3, warranted=0.9),
        case("S3", stated=0.8, warranted=0.8), case("S4", stated=0.9, warranted=0.5),
        case("S4", day=1, stated=0.9, warranted=0.4, because=(FREE,)),
    ]  # fmt: skip
    lost, free = class_figures(["S1", "S2", "S3", "S4"], played).misread
    assert (lost.finding, lost.students, lost.cases, lost.of) == (LIMIT[6:], 2, 2, 4)
    assert lost.low < lost.share == 0.5 < lost.high
    assert (free.finding, free.students) == (FREE[5:], 1)


def test_what_most_students_do_comes_before_what_one_does_more_often() -> None:
    often = [case("S1", day, flags=("fever",), stated=0.1, warranted=0.9) for day in range(4)]
    by_two = [
        case(who, 9, flags=("lump",), stated=0.9, warranted=0.1, because=(FREE,))
        for who in ("S2", "S3")
    ]
    figures = class_figures(["S1", "S2", "S3"], [*often, *by_two])
    assert [(one.item, one.students, one.cases) for one in figures.flags_missed] == [
        ("lump", 2, 2), ("fever", 1, 4)
    ]  # fmt: skip
    assert [(one.finding, one.students) for one in figures.misread] == [
        (FREE[5:], 2),
        (LIMIT[6:], 1),
    ]


@pytest.mark.parametrize(("stated", "count"), [(0.31, 0), (0.29, 1)])
def test_twenty_points_to_the_other_side_are_misread(stated: float, count: int) -> None:
    assert len(class_figures(["S1"], [case(stated=stated, warranted=0.5)]).misread) == count


def test_what_a_patient_did_not_call_for_is_no_fault() -> None:
    assert class_figures(["S1"], [case()]).left_out == ()
    (left,) = class_figures(["S1"], [case(called="a lump was felt")]).left_out
    assert left.item == "axilla"


def test_the_interval_of_a_mean_is_students() -> None:
    """Student, Biometrika 1908: hours of sleep gained by ten patients. R's t.test of these data
    prints 0.7001142 and 2.4598858 (from memory); scipy is the oracle."""
    gained = np.array([1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4])
    low, high = mean_interval(gained)
    oracle = ttest_1samp(gained, 0).confidence_interval(0.95)
    assert (low, high) == pytest.approx((oracle.low, oracle.high))
    assert (low, high) == pytest.approx((0.7001142, 2.4598858), abs=1e-7)
    assert mean_interval(gained[:1]) == (None, None)


@given(st.text())
def test_the_table_has_a_row_a_case_and_no_cell_is_run(student: str) -> None:
    table = played_table([case(student, 1), case("S2", 0)])
    rows = list(csv.reader(io.StringIO(table, newline="")))
    assert rows[0] == list(PLAYED_COLUMNS)
    assert len(rows) == 3
    assert [row[0] for row in rows[1:]] == ["yes", "yes"], "marked as simulated"
    number = PLAYED_COLUMNS.index("student")
    cells = [row[number] for row in rows[1:]]
    assert not any(cell.startswith(("=", "@", "\t", "\r")) for cell in cells)


def assert_statement(found: dict[str, Any]) -> None:
    """What xAPI 1.0.3, Part Two, asks of a statement; the section stands beside each."""
    # 2.4: these and no other top properties; actor, verb and object are required.
    assert {"actor", "verb", "object"} <= set(found)
    assert set(found) <= {"id", "actor", "verb", "object", "result", "context", "timestamp"}
    assert str(uuid.UUID(found["id"])) == found["id"]  # 2.4.1: standard string form
    assert uuid.UUID(found["id"]).variant == uuid.RFC_4122
    names = {"mbox", "mbox_sha1sum", "openid", "account"}
    assert len(names & set(found["actor"])) == 1  # 2.4.2.1: exactly one identifier
    assert set(found["actor"]["account"]) == {"homePage", "name"}  # 2.4.2.4
    for iri in (found["verb"]["id"], found["object"]["id"], found["object"]["definition"]["type"]):
        assert urlsplit(iri).scheme  # 2.4.3, 2.4.4.1: an IRI with its scheme
        assert " " not in iri
    result = found["result"]
    assert isinstance(result["success"], bool)  # 2.4.5
    assert isinstance(result["completion"], bool)
    assert result["duration"].startswith("PT")  # 4.6: ISO 8601 duration
    assert all(urlsplit(key).scheme for key in result["extensions"])  # 4.1: keys are IRIs
    assert datetime.fromisoformat(found["timestamp"]).tzinfo is not None  # 4.5


@pytest.mark.parametrize("number", [0, 6])
def test_a_played_case_becomes_a_statement_of_the_standard(number: int) -> None:
    found = json.loads(json.dumps(told(number).to_json()))
    statement = statement_of(played_case("S1", DAY, found), HOME)
    assert_statement(statement)
    assert statement["result"]["success"] == (not found["flags_missed"])
    assert "score" not in statement["result"], "no average may make up for a flag missed"


@given(student=st.text(min_size=1), day=st.integers(0, 300))
def test_statements_of_any_name_are_of_the_standard_and_count_once(student: str, day: int) -> None:
    played = case(student, day)
    assert_statement(statement_of(played, HOME + "/"))
    assert statement_of(played, HOME) == statement_of(played, HOME + "/")
    assert len(json.loads(statements_text([played, case("S2")], HOME))) == 2


def test_a_missed_flag_is_never_a_success_whatever_the_scores() -> None:
    missed = statement_of(case(flags=("fever",), brier=0.0), HOME)["result"]
    assert missed["success"] is False
    assert missed["extensions"][f"{HOME}/practice/terms/flags-missed"] == ["fever"]
    assert missed["duration"] == "PT480S"


def test_another_case_student_or_time_is_another_statement_and_no_patient() -> None:
    some = [case(), case(day=1), case("S2")]
    assert len({statement_of(one, HOME)["id"] for one in some}) == 3
    said = statement_of(case(title="A stiff shoulder"), HOME)
    assert said["object"]["definition"]["name"]["en"] == "A stiff shoulder"
    assert "no patient" in said["object"]["definition"]["description"]["en"]


def test_the_table_names_group_and_title_and_runs_neither() -> None:
    text = played_table([case(group="=evenings", title="@a stiff shoulder")])
    (row,) = csv.DictReader(io.StringIO(text, newline=""))
    assert "evenings" in row["group"]
    assert "a stiff shoulder" in row["title"]
    assert not row["group"].startswith("=")
    assert not row["title"].startswith("@")


@pytest.mark.parametrize("home", ["", "school", "ftp://school.example", "https://", "https://x?y"])
def test_an_address_that_is_none_is_refused(home: str) -> None:
    with pytest.raises(UserError, match="an address such as"):
        statement_of(case(), home)


def test_other_documents_and_times_without_a_zone_are_refused() -> None:
    with pytest.raises(UserError, match="sidewise-feedback/1"):
        played_case("S1", DAY, {"format": "sidewise-plan/1"})
    with pytest.raises(UserError, match="its zone"):
        played_case("S1", DAY.replace(tzinfo=None), {"format": "sidewise-feedback/1"})
