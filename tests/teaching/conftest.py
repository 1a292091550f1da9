"""The teaching week, analysed once for all tests that look at it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sidewise.teaching.examples.example_files import WEEK
from sidewise.teaching.examples.teaching_week import TeachingWeek, teaching_week
from sidewise.teaching.sitting.sitting import Sitting, analyse_sitting
from sidewise.teaching.tables.marks_table import marks_from_frame

EXAMPLES = Path(__file__).parents[2] / "examples" / "marks"


@pytest.fixture(scope="session")
def week() -> TeachingWeek:
    return teaching_week(WEEK)


@pytest.fixture(scope="session")
def result(week: TeachingWeek) -> Sitting:
    return analyse_sitting(marks_from_frame(week.marks))


@pytest.fixture(scope="session")
def unlinked() -> Sitting:
    return analyse_sitting(marks_from_frame(teaching_week(WEEK, linked=False).marks))


@pytest.fixture
def small(week: TeachingWeek) -> pd.DataFrame:
    """Two students' marks, free to be spoilt."""
    marks = week.marks
    return marks[marks["student"].isin(["S01", "S02"])].reset_index(drop=True)
