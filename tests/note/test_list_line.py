"""A list names what an earlier visit raised until a later one has really excluded it."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from sidewise.note.list_line import unresolved_flags
from sidewise.reason.result import RedFlag

FIRST, SECOND, THIRD = (datetime(2026, month, 2, 9, tzinfo=UTC) for month in (3, 4, 5))


def flag(status: str, name: str = "hot_swollen_joint") -> RedFlag:
    return RedFlag(
        flag=name, label=name.replace("_", " "), status=status, urgency="emergency", suspect="x",  # type: ignore[arg-type]
        because=(), missing=(), do="", withhold=(), why="", sources=(),
    )  # fmt: skip


RAISED, OPEN = (flag("raised"),), (flag("not excluded"),)


@pytest.mark.parametrize(
    ("visits", "dates"),
    [
        # What a colleague expects of a list, written before the first run.
        ([(FIRST, RAISED)], []),  # The visit itself says it; there is nothing earlier.
        ([(FIRST, RAISED), (SECOND, OPEN)], [FIRST]),  # Nobody has looked since.
        ([(FIRST, RAISED), (SECOND, ())], []),  # Looked, and excluded.
        ([(FIRST, RAISED), (SECOND, ()), (THIRD, OPEN)], []),  # Excluded once, open as for anybody.
        ([(FIRST, RAISED), (SECOND, OPEN), (THIRD, OPEN)], [FIRST]),
        ([(FIRST, RAISED), (SECOND, RAISED), (THIRD, OPEN)], [SECOND]),  # When it was seen last.
        ([(FIRST, RAISED), (SECOND, RAISED)], []),  # Raised today: said as today's.
        ([(FIRST, OPEN), (SECOND, OPEN)], []),  # Never raised.
        ([(FIRST, RAISED), (SECOND, (flag("raised", "arm_clot"), *OPEN))], [FIRST]),
    ],
)
def test_a_flag_stays_in_the_list_until_a_visit_has_excluded_it(visits, dates):
    assert [one.raised_at for one in unresolved_flags(visits)] == dates
