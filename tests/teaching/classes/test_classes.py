"""Who of a class has done what, and the codes by which one joins."""

from __future__ import annotations

from datetime import date

import pytest

from sidewise.errors import UserError
from sidewise.teaching.classes import (
    SetWork,
    WorkDone,
    WorkState,
    class_work,
    join_codes,
    plain_code,
)
from sidewise.teaching.classes.codes import LETTERS

DUE = date(2026, 3, 6)
FROZEN = SetWork("k1", "A stiff shoulder", DUE)
CUFF = SetWork("k2", "A weak shoulder", DUE, group="mornings")


def state(
    today: date, done: WorkDone | None = None, work: SetWork = FROZEN, group: str = ""
) -> str:
    table = class_work({"S1": group}, [work], [done] if done else [], today)
    return table.lines[0].states[0]


@pytest.mark.parametrize(
    ("today", "expected"),
    [(date(2026, 3, 5), "open"), (DUE, "open"), (date(2026, 3, 7), "overdue")],
)
def test_work_is_overdue_from_the_day_after_its_day(today, expected):
    assert state(today) == expected


@pytest.mark.parametrize(
    ("day", "expected"),
    [(date(2026, 3, 5), "done"), (DUE, "done"), (date(2026, 3, 7), "done late")],
)
def test_what_is_done_after_its_day_is_done_late(day, expected):
    assert state(date(2026, 3, 9), WorkDone("k1", "S1", day)) == expected


def test_what_was_begun_and_not_done_is_overdue_after_its_day():
    begun = WorkDone("k1", "S1", None)
    assert state(DUE, begun) == WorkState.BEGUN
    assert state(date(2026, 3, 7), begun) == WorkState.OVERDUE


def test_what_was_set_for_a_group_is_not_set_for_others():
    assert state(DUE, work=CUFF, group="evenings") == WorkState.NOT_SET
    assert state(DUE, work=CUFF, group="mornings") == WorkState.OPEN
    assert state(DUE, WorkDone("k2", "S1", DUE), CUFF, "evenings") == WorkState.DONE


def test_the_lines_count_what_was_set_done_and_is_late():
    table = class_work(
        {"S2": "mornings", "S1": ""}, [FROZEN, CUFF], [WorkDone("k1", "S2", DUE)],
        date(2026, 3, 9),
    )  # fmt: skip
    assert [(one.student, one.set_for, one.done, one.overdue) for one in table.lines] == [
        ("S1", 1, 0, 1), ("S2", 2, 1, 1)
    ]  # fmt: skip
    assert table.waiting_for == ("S1", "S2")


def test_codes_differ_and_hold_no_letter_that_is_taken_for_another():
    codes = join_codes(60)
    assert len(set(codes)) == 60
    assert set("".join(codes)) - {"-"} <= set(LETTERS)
    assert not set(LETTERS) & set("ILOU01")


def test_a_code_is_read_however_it_is_typed():
    (code,) = join_codes(1)
    assert plain_code(f" {code.lower().replace('-', ' ')} ") == plain_code(code)
    assert len(plain_code(code)) == 12


@pytest.mark.parametrize("count", [0, 61])
def test_too_many_codes_at_once_are_refused(count):
    with pytest.raises(UserError, match="a number from 1 to 60"):
        join_codes(count)
