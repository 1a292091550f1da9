"""A class of the invented clinic: its teacher, colleagues, students, and a simulated case."""

from __future__ import annotations

from functools import cache

import pytest

from sidewise.practice import CaseWishes, practice_case
from sidewise.practice.case_file import case_text, truth_text
from tests.shoulder import SHOULDER


@cache
def drawn(seed, wishes=None):
    """A case is drawn once for all tests: it is the same each time."""
    return practice_case(SHOULDER, seed, wishes)


@pytest.fixture(autouse=True)
def drawn_once(monkeypatch):
    from sidewise.web.practice import store
    from sidewise.web.practice.views import teaching

    def quick(region, seed, wishes=None):
        # Of any seed of a student's own the test's case, and what was asked for is still checked.
        wanted = None if wishes == CaseWishes() else wishes
        return drawn(7 if wanted is None else seed, wanted)

    monkeypatch.setattr(store, "practice_case", quick)
    monkeypatch.setattr(teaching, "practice_case", quick)


@pytest.fixture
def files():
    """A case and its truth as files."""
    made = drawn(7)
    return case_text(made).encode(), truth_text(made, SHOULDER).encode()


@pytest.fixture
def school(db):
    """The class and its people."""
    from tests.web.practice.school import School

    return School()
