"""Kept pieces of the page: always what a fresh rendering would say, and nobody else's."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from sidewise.web.examinations import pieces
from tests.shoulder import PROTOCOL
from tests.web.cast import send, tender, touch

AUDIT = {
    "sqlite": ["end of the audit", "audit line"],
    # SQLite has one writer at a time; PostgreSQL is asked for the end of the chain to itself.
    "postgresql": ["lock of the audit", "end of the audit", "audit line"],
}
WHO = ["session", "account", "access"]
MARKS = {
    "BEGIN": "begin", "COMMIT": "commit", "SELECT pg_advisory": "lock of the audit",
    'INSERT INTO "audit': "audit line", 'INSERT INTO "examinations_ledgerentry': "entry",
    'FROM "audit': "end of the audit", 'FROM "examinations_ledgerentry': "ledger",
    'FROM "django_session': "session", 'FROM "accounts_user': "account",
    'JOIN "patients': "access", 'FROM "examinations_examination': "lock",
}  # fmt: skip
MASKED = re.compile(r'(csrfmiddlewaretoken" value="|X-CSRFToken": ")[^"]+')


def _page(client, cast, stage="feel", more="", **headers):
    address = f"/examinations/{cast.examination.pk}/stage/{stage}/{more}"
    page = MASKED.sub(r"\1", client.get(address, **headers).content.decode())
    # How long the session still lives is another number a second later.
    return re.sub(r' data-(left|whole)="[0-9]+"', "", page)


def _steps(cast):
    """A record in many states: normal, folded, both, conflict, could not, undone, withheld."""
    client = cast.client("owner")
    yield touch(client, cast.examination, tender(0, "left"), tender(0, "right"))
    yield touch(client, cast.examination, tender(2, "left", "acj_tenderness"), stem="both")
    yield touch(client, cast.examination, tender(1, "left", "acj_tenderness"))
    undone = {"id": "u1", "at": "2026-03-02T09:42:00Z",
              "deed": {"do": "undo", "entries": ["both.0"]}}  # fmt: skip
    yield send(client, cast.examination, [undone])
    angle = {"kind": "angle", "instrument": "goniometer"}
    for side, degrees in (("left", 20), ("right", 70)):
        yield touch(client, cast.examination,
                    {"item": "external_rotation_at_side", "side": side, "mode": "passive",
                     "value": {**angle, "degrees": degrees}})  # fmt: skip
    could_not = {"item": "neer", "side": "left", "status": "unable", "reason": "too stiff"}
    yield touch(client, cast.examination, could_not)
    address = f"/examinations/{cast.examination.pk}"
    about = {"age": "61", "complaint": ["left", "right"], "setting": "primary"}
    yield client.post(f"{address}/about/", about)
    yield client.post(f"{address}/history/answer/", {"state": "history.fever", "answer": "yes"})
    marked = {"item": "gh_swelling", "side": "left", "value": {"kind": "sign", "grade": "marked"}}
    hot = {"item": "warmth", "side": "left", "value": {"kind": "choice", "choice": "hot"}}
    yield touch(client, cast.examination, marked, hot)


def test_a_page_from_kept_pieces_is_the_page_made_afresh(cast):
    client, swept = cast.client("owner"), 0
    for answer in _steps(cast):
        assert answer.status_code in (200, 302)
        for stage in PROTOCOL.stages:
            kept = _page(client, cast, stage.slug)
            pieces.texts.clear()
            assert kept == _page(client, cast, stage.slug), stage
            swept += 1
    assert swept == 100


def test_pieces_are_shared_between_people_but_nothing_of_theirs_is(cast):
    touch(cast.client("owner"), cast.examination, tender(2))
    first, other = cast.examination, cast.open()
    owner = _page(cast.client("owner"), cast)
    reader = _page(cast.client("reader"), cast)
    assert "data-touch" in owner
    assert "data-touch" not in reader
    cast.examination = other
    page = _page(cast.client("colleague"), cast)
    assert str(first.pk) not in page
    assert str(other.pk) in page
    assert "winces" not in re.sub(r"<button.*?</button>", "", page)


def test_every_form_carries_the_token_of_who_asked(cast):
    client = cast.client("owner")
    for _ in range(2):
        text = client.get(f"/examinations/{cast.examination.pk}/stage/feel/").content.decode()
        tokens = re.findall(r'csrfmiddlewaretoken" value="(\w*)"', text)
        assert len(tokens) > 40
        assert {len(token) for token in tokens} == {64}
        assert pieces.TOKEN not in text
        assert pieces.SWAP not in text
        assert str(pieces.NOBODY.pk) not in text


def test_the_instrument_chosen_is_the_one_in_the_fields(cast):
    client = cast.client("owner")
    assert 'angle.instrument" value="eye"' in _page(client, cast, "move")
    client.post(f"/examinations/{cast.examination.pk}/instrument/", {"instrument": "goniometer"})
    page = _page(client, cast, "move")
    assert 'angle.instrument" value="goniometer"' in page
    assert 'angle.instrument" value="eye"' not in page


def test_kept_pieces_are_bounded(cast, monkeypatch):
    pieces.texts.clear()
    monkeypatch.setattr(pieces.texts, "most", 5)
    _page(cast.client("owner"), cast)
    assert len(pieces.texts) == 5


def _asked(queries):
    """What each query was for; one that has no name here is shown whole."""
    texts = [query["sql"] for query in queries.captured_queries]
    return [next((word for mark, word in MARKS.items() if mark in sql), sql) for sql in texts]


@pytest.mark.django_db(transaction=True)
def test_a_touch_asks_the_database_the_same_few_things_however_long_the_ledger(cast):
    client = cast.client("owner")
    for number in range(30):
        touch(client, cast.examination, tender(number % 4))
    with CaptureQueriesContext(connection) as queries:
        touch(client, cast.examination, tender(1, item="acj_tenderness"))
    audit = AUDIT[connection.vendor]
    # The second look at the ledger reads the new row back, to bind it as the database holds it.
    wrote = ["begin", "lock", "ledger", "entry", "ledger", *audit, "commit"]
    assert _asked(queries) == [*WHO, *wrote]


@pytest.mark.django_db(transaction=True)
def test_a_page_asks_the_database_the_same_few_things(cast):
    client = cast.client("owner")
    _page(client, cast)
    with CaptureQueriesContext(connection) as queries:
        _page(client, cast)
    assert _asked(queries) == [*WHO, "ledger", "begin", *AUDIT[connection.vendor], "commit"]
