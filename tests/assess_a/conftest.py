"""The teaching week, analysed once for all tests that look at it."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from sidewise.assess.examination import Examination, examine
from sidewise.assess.example_files import WEEK
from sidewise.assess.reading import marks_from_frame
from sidewise.assess.teaching_week import TeachingWeek, teaching_week

EXAMPLES = Path(__file__).parents[2] / "examples" / "marks"


@pytest.fixture(scope="session")
def week() -> TeachingWeek:
    return teaching_week(WEEK)


@pytest.fixture(scope="session")
def result(week: TeachingWeek) -> Examination:
    return examine(marks_from_frame(week.marks))


@pytest.fixture(scope="session")
def unlinked() -> Examination:
    return examine(marks_from_frame(teaching_week(WEEK, linked=False).marks))


@pytest.fixture
def small(week: TeachingWeek) -> pd.DataFrame:
    """Two students' marks, free to be spoilt."""
    marks = week.marks
    return marks[marks["student"].isin(["S01", "S02"])].reset_index(drop=True)
