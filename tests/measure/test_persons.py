"""Visits under one code that cannot be of one person.

Common practice, no source: that a visit may stand under the wrong patient is looked for by what
does not change. The ages are whole years, as records write them.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from sidewise.measure.visits.persons import person_doubts
from sidewise.record import Record
from tests.builders import record

FIRST, LATER = datetime(2026, 3, 3, 9, tzinfo=UTC), datetime(2026, 5, 4, 13, tzinfo=UTC)
WOMAN = {"age": 46, "sex": "female", "dominant": "right"}


def visit(at: datetime, **about: Any) -> Record:
    return record(**{**WOMAN, **about, "examined_at": at.isoformat()})


def test_another_sex_and_age_are_asked_about_with_both_visits() -> None:
    doubts = person_doubts([visit(LATER, age=44, sex="male"), visit(FIRST)])
    assert doubts == (
        "Another person? 3 March 2026: 46, woman, right-handed; 4 May 2026: 44, man, right-handed. "
        "See whether a visit stands under the wrong patient.",
    )


@pytest.mark.parametrize(
    ("about", "doubted"),
    [
        ({}, False),
        ({"age": 47}, False),  # The birthday was between.
        ({"age": 45}, True),  # Nobody grows younger.
        ({"age": 48}, True),
        ({"age": 44}, True),
        ({"sex": "male"}, True),
        ({"dominant": "left"}, True),
        ({"age": None, "sex": None, "dominant": None}, False),
    ],
)
def test_two_months_later(about: dict[str, Any], doubted: bool) -> None:
    assert bool(person_doubts([visit(FIRST), visit(LATER, **about)])) is doubted


def test_ten_years_make_one_ten_years_older() -> None:
    ten = datetime(2036, 3, 3, 9, tzinfo=UTC)
    assert person_doubts([visit(FIRST), visit(ten, age=56)]) == ()
    assert person_doubts([visit(FIRST), visit(ten, age=46)])


def test_one_visit_alone_is_not_doubted() -> None:
    assert person_doubts([visit(FIRST)]) == ()
