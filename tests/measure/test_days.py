"""Two visits of one day are repeats: the course takes the latest and says so."""

from __future__ import annotations

from sidewise.measure.visits.days import latest_of_each_day, passed_over
from tests.builders import record

EARLY, LATE, NEXT_DAY = (
    record(examined_at=moment)
    for moment in (
        "2026-03-02T09:00:00+00:00",
        "2026-03-02T16:00:00+00:00",
        "2026-03-03T08:00:00+00:00",
    )
)


def test_the_latest_of_a_day_stands_in_the_course_in_order_of_time() -> None:
    assert latest_of_each_day([NEXT_DAY, LATE, EARLY]) == (LATE, NEXT_DAY)


def test_what_is_passed_over_is_said_with_its_day() -> None:
    words = "2 visits on 2 March 2026, of which the latest stands in the course."
    assert passed_over([EARLY, LATE, NEXT_DAY]) == words
    assert passed_over([EARLY, NEXT_DAY]) == ""
