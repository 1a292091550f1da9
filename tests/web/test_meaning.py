"""The meaning: worked out once for a state, for the newest one, and in nobody's way."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from threading import Event, Thread

import pytest
from django.db import connection

from sidewise.web.examinations import state, weighing
from sidewise.web.examinations.state import current
from tests.web.cast import hand_made, send, tender, touch

ROOT = Path(__file__).parents[2]


@pytest.fixture
def weighings(monkeypatch):
    """Every record that was weighed."""
    seen = []

    def weigh(record):
        seen.append(record)
        return hand_made(record)

    monkeypatch.setattr(state, "weigh", weigh)
    return seen


def _meaning(client, cast, **headers):
    return client.get(f"/examinations/{cast.examination.pk}/meaning/", **headers)


def _asked_by_page(client, cast):
    return _meaning(client, cast, HTTP_HX_REQUEST="true")


def _length(page):
    return int(re.search(r'meaning-body" data-length="(\d+)"', page.content.decode())[1])


def test_one_state_is_weighed_once_for_panel_page_and_note(cast, weighings):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    _asked_by_page(client, cast)
    _meaning(client, cast)
    client.get(f"/examinations/{cast.examination.pk}/note/")
    assert len(weighings) == 1


def test_a_touch_taken_back_is_not_weighed_again(cast, weighings):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    _asked_by_page(client, cast)
    touch(client, cast.examination, tender(1, "right"), stem="wrong")
    undo = {"id": "u", "at": "2026-03-02T09:42:00Z", "deed": {"do": "undo", "entries": ["wrong.0"]}}
    send(client, cast.examination, [undo])
    assert _length(_asked_by_page(client, cast)) == current(cast.examination).length == 4
    assert len(weighings) == 1


def test_the_panel_and_the_head_say_which_entries_they_rest_on(cast):
    client = cast.client("owner")
    panel = _asked_by_page(client, cast)
    answer = touch(client, cast.examination, tender(2)).content.decode()
    assert _length(panel) == 1
    assert 'id="head" data-length="2"' in answer


@pytest.mark.django_db(transaction=True)
def test_a_touch_stored_while_it_waited_is_in_the_meaning(cast, weighings):
    client = cast.client("owner")
    with weighing._one_at_a_time:
        answers = []
        waiter = Thread(target=_in_thread, args=(answers, _asked_by_page, client, cast))
        waiter.start()
        _until_waiting()
        touch(client, cast.examination, tender(3))
    waiter.join(10)
    assert [_length(answer) for answer in answers] == [2]
    assert [len(record.findings) for record in weighings] == [1]


@pytest.mark.django_db(transaction=True)
def test_weighing_holds_no_transaction_and_a_touch_goes_on_meanwhile(cast, monkeypatch):
    client, begun, go_on, open_ones = cast.client("owner"), Event(), Event(), []

    def slow(record):
        open_ones.append(connection.in_atomic_block)
        begun.set()
        assert go_on.wait(10)
        return hand_made(record)

    monkeypatch.setattr(state, "weigh", slow)
    answers = []
    weigher = Thread(target=_in_thread, args=(answers, _asked_by_page, client, cast))
    weigher.start()
    assert begun.wait(10)
    assert touch(client, cast.examination, tender(2)).status_code == 200
    go_on.set()
    weigher.join(10)
    assert open_ones == [False]
    # It was begun before the touch and says so; the page marks it as not the newest.
    assert [_length(answer) for answer in answers] == [1]


def test_a_page_that_asks_when_too_many_wait_is_told_to_ask_again(cast):
    client = cast.client("owner")
    taken = [weighing._waiting.acquire(blocking=False) for _ in range(weighing.MOST_WAITING)]
    try:
        answer = _asked_by_page(client, cast)
    finally:
        for _ in taken:
            weighing._waiting.release()
    assert all(taken)
    assert (answer.status_code, answer.headers["HX-Trigger"]) == (204, "weigh-later")
    assert _asked_by_page(client, cast).status_code == 200


def _in_thread(answers, ask, client, cast):
    try:
        answers.append(ask(client, cast))
    finally:
        connection.close()


def _until_waiting():
    """Until the other thread has taken a place in the queue of the one weigher."""
    for _ in range(500):
        if weighing._waiting._value < weighing.MOST_WAITING:
            return
        Event().wait(0.01)
    raise AssertionError("nobody waits")


def test_a_weighing_gives_way_to_touches_only_while_it_lasts(cast, monkeypatch):
    before, during = sys.getswitchinterval(), []
    monkeypatch.setattr(
        state, "weigh", lambda record: during.append(sys.getswitchinterval()) or hand_made(record)
    )
    weighing.weighed(cast.examination)
    assert during == [pytest.approx(weighing.GIVE_WAY_S)]
    assert sys.getswitchinterval() == before


def test_meanings_leave_two_of_the_threads_that_a_department_has_for_touches():
    text = (ROOT / "deploy" / "gunicorn.conf.py").read_text(encoding="utf-8")
    threads = int(re.search(r'"SIDEWISE_THREADS", "(\d+)"', text).group(1))
    assert threads - 2 == weighing.MOST_WAITING


def test_who_asked_first_is_weighed_first():
    turns, came = weighing._InTurn(), []

    def take(number):
        with turns:
            came.append(number)

    people = [Thread(target=take, args=(number,)) for number in range(12)]
    with turns:
        for number, person in enumerate(people):
            person.start()
            while len(turns._queue) <= number:
                pass
    for person in people:
        person.join(5)
    assert came == list(range(12))
    with turns:
        came.append("free again")
    assert came[-1] == "free again"
