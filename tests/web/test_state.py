"""One cache of ledgers in each process, and what two processes may show of one examination."""

from __future__ import annotations

import pytest
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext

from sidewise.ground.cache import LastUsed
from sidewise.record.ledger import Entry
from sidewise.web.examinations import state, store
from sidewise.web.examinations.state import KEPT, add, current
from sidewise.web.keeping.guard import erasing
from tests.web.cast import tender

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture
def as_worker(monkeypatch):
    """Go on as one worker of several, each with a memory of its own."""
    memories = {}

    def go_on(name):
        memories.setdefault(name, LastUsed(KEPT))
        monkeypatch.setattr(state, "ledgers", memories[name])

    return go_on


def _entry(name, grade=1, side="left"):
    found = {"do": "found", "finding": tender(grade, side), "replaces": []}
    return Entry.model_validate({"id": name, "at": "2026-03-02T09:41:00Z", "by": "OWNER",
                                 "deed": found})  # fmt: skip


def _afresh(examination):
    return store.folded(examination)


def test_a_worker_never_shows_what_another_has_added_to(cast, as_worker):
    swept = 0
    for number in range(6):
        writer, reader = ("first", "second") if number % 2 else ("second", "first")
        as_worker(reader)
        before = current(cast.examination)
        as_worker(writer)
        add(cast.examination, [_entry(f"e{number}", number % 4)])
        as_worker(reader)
        now = current(cast.examination)
        assert now.length == before.length + 1 == number + 2
        assert now.folded == _afresh(cast.examination)
        swept += 1
    assert swept == 6


def test_a_worker_whose_memory_is_old_adds_to_the_ledger_as_it_is(cast, as_worker):
    as_worker("first")
    current(cast.examination)
    as_worker("second")
    add(cast.examination, [_entry("second", 2)])
    as_worker("first")
    now = add(cast.examination, [_entry("first", 3, "right")])
    assert [entry.id for entry in now.entries][1:] == ["second", "first"]
    assert now.folded == _afresh(cast.examination)


def test_the_same_entry_from_two_workers_counts_once(cast, as_worker):
    for worker in ("first", "second", "first"):
        as_worker(worker)
        assert add(cast.examination, [_entry("twice")]).length == 2
    assert current(cast.examination).folded == _afresh(cast.examination)


def test_what_was_rolled_back_is_not_remembered(cast, as_worker):
    as_worker("first")
    current(cast.examination)
    with pytest.raises(RuntimeError), transaction.atomic():  # noqa: PT012
        add(cast.examination, [_entry("a"), _entry("b", 2, "right")])
        raise RuntimeError
    # Other rows may now stand where the rolled-back ones would, and end with the same entry.
    as_worker("second")
    add(cast.examination, [_entry("c", 3)])
    add(cast.examination, [_entry("b", 2, "right")])
    as_worker("first")
    assert [entry.id for entry in current(cast.examination).entries][1:] == ["c", "b"]


def test_a_ledger_that_was_put_back_shorter_is_read_again(cast, as_worker):
    as_worker("first")
    add(cast.examination, [_entry("a")])
    add(cast.examination, [_entry("gone", 2)])
    with erasing("ledger"):
        cast.examination.entries.filter(entry_id="gone").delete()
    assert [entry.id for entry in current(cast.examination).entries][1:] == ["a"]


def test_a_state_is_folded_once_and_its_rows_are_read_once(cast, as_worker):
    as_worker("first")
    for number in range(20):
        add(cast.examination, [_entry(f"e{number}", number % 4)])
    known = current(cast.examination)
    with CaptureQueriesContext(connection) as queries:
        assert current(cast.examination) is known
    assert len(queries) == 1
    # From the row that the memory ends with, not from the first.
    assert f'"id" >= {known.ledger.last}' in queries[0]["sql"]


def test_the_memory_is_bounded(cast, as_worker, monkeypatch):
    as_worker("first")
    monkeypatch.setattr(state.ledgers, "most", 2)
    for _ in range(4):
        current(cast.open())
    assert len(state.ledgers) == 2
