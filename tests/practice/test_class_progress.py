"""How a class is doing, and its statements for a learning record store."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from uuid import UUID

import pytest

from sidewise.practice.class_progress import class_progress
from sidewise.practice.statements import COMPLETED, FinishedCase, completed_statement


def outcome(stated=0.2, warranted=0.2, missed=(), brier=0.1, perfect=0.1):
    groups = [{"label": "frozen shoulder", "stated": stated, "warranted": warranted, "there": True}]
    return {"brier": brier, "perfect": perfect, "flags_missed": list(missed), "groups": groups,
            "minutes": 8}  # fmt: skip


def test_what_is_misjudged_by_most_counts_students_before_times():
    told = class_progress(
        {"S1": [outcome(0.9, 0.2), outcome(0.9, 0.2)], "S2": [outcome(0.9, 0.2)],
         "S3": [outcome()], "S4": []}
    )  # fmt: skip
    (one,) = told.misjudged
    assert (one.label, one.students, one.of, one.times) == ("frozen shoulder", 2, 3, 3)


@pytest.mark.parametrize(("warranted", "count"), [(0.44, 0), (0.46, 1)])
def test_more_than_25_points_apart_is_misjudged(warranted, count):
    told = class_progress({"S1": [outcome(0.2, warranted)]})
    assert len(told.misjudged) == count


def test_a_flag_missed_of_late_points_to_somebody_whatever_the_score():
    told = class_progress({"S1": [outcome(), outcome(missed=["hot, swollen joint"])]})
    (one,) = told.students
    assert one.help_because == ("missed of late: hot, swollen joint",)
    assert one.flags_missed == 1


def test_a_flag_missed_four_cases_ago_is_counted_and_points_to_nobody():
    old = outcome(missed=["hot, swollen joint"])
    (one,) = class_progress({"S1": [outcome(), outcome(), outcome(), old]}).students
    assert (one.flags_missed, one.help_because) == (1, ())


@pytest.mark.parametrize(("brier", "points"), [(0.19, False), (0.21, True)])
def test_a_score_much_above_perfect_reading_points_to_somebody(brier, points):
    (one,) = class_progress({"S1": [outcome(brier=brier)]}).students
    assert bool(one.help_because) is points


def test_a_student_without_a_case_has_no_score():
    (one,) = class_progress({"S1": []}).students
    assert (one.cases, one.excess, one.help_because) == (0, None, ())


# ---------------------------------------------------------------- statements
# Parts that a statement must have, and that `success` is a truth value: Experience API 1.0.3, part
# two, sections 2.2 and 2.4.5 (recalled, not read for this test).

CASE = FinishedCase("S1", "a" * 8, "b" * 8, "A stiff shoulder",
                    datetime(2026, 3, 2, 9, 40, tzinfo=UTC), outcome())  # fmt: skip
SITE = "http://127.0.0.1/"


def test_a_statement_says_who_completed_which_simulation_when():
    said = completed_statement(CASE, SITE)
    assert {"actor", "verb", "object"} <= set(said)
    assert said["actor"]["account"] == {"homePage": SITE, "name": "S1"}
    assert said["verb"]["id"] == COMPLETED
    assert said["timestamp"] == "2026-03-02T09:40:00+00:00"
    assert UUID(said["id"])
    assert "not a patient" in json.dumps(said["object"])


def test_the_same_case_has_the_same_statement_each_time_and_another_another():
    from dataclasses import replace

    assert completed_statement(CASE, SITE) == completed_statement(CASE, SITE)
    other = completed_statement(replace(CASE, attempt="c" * 8), SITE)
    assert other["id"] != completed_statement(CASE, SITE)["id"]


def test_a_missed_flag_is_never_a_success_and_a_brier_score_is_no_score():
    from dataclasses import replace

    missed = completed_statement(replace(CASE, outcome=outcome(missed=["x"])), SITE)["result"]
    assert missed["success"] is False
    assert "success" not in completed_statement(CASE, SITE)["result"]
    assert "score" not in missed
    assert missed["duration"] == "PT8M"
