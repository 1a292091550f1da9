"""Sheets are read and analysed in this process here; the other process has a test of its own."""

from __future__ import annotations

import os

# Of the matrices here further threads cost several times what they save; without effect where
# another test has loaded the library already.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from functools import cache

import pytest

from sidewise.teaching.report import marks_apart
from sidewise.teaching.report.printout import print_sitting
from sidewise.web.marks import analysis, reading


@cache
def _printed(text, make):
    return make()


@pytest.fixture(autouse=True)
def in_this_process(monkeypatch):
    """The same functions, called directly; an analysis of the same table and answers once."""

    def printed(grid, words, before, rests_on, made):
        key = repr((grid, sorted(words.items()), before, rests_on))
        return _printed(key, _Made(grid, words, before, rests_on, made))

    monkeypatch.setattr(marks_apart, "open_apart", marks_apart.open_sheet)
    monkeypatch.setattr(marks_apart, "read_again_apart", marks_apart.read_sheet_again)
    monkeypatch.setattr(marks_apart, "print_apart", printed)
    from tests.web.marks.room import finish

    yield
    finish()
    analysis._done.clear()
    reading._understood.clear()


class _Made:
    """A call that is equal to every other, so that the text alone is the key."""

    def __init__(self, *given):
        self.given = given

    def __call__(self):
        grid, words, before, rests_on, made = self.given
        return print_sitting(grid, {**words, "draws": "0"}, before, rests_on, made)

    def __eq__(self, other):
        return isinstance(other, _Made)

    def __hash__(self):
        return 1


@pytest.fixture
def room(db):
    """The sitting and its people."""
    from tests.web.marks.room import Room

    return Room()
