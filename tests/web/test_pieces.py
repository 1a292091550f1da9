"""Kept pieces of the page: always what a fresh rendering would say, and nobody else's."""

from __future__ import annotations

import re

import pytest

from sidewise.protocol import Stage
from sidewise.web.examinations import pieces
from sidewise.web.examinations.rows import slug
from tests.web.cast import send, tender, touch

TOUCH_QUERIES = 10
"""Session, account, access; begin, lock, ledger, entry, audit's end, audit line, commit."""
PAGE_QUERIES = 8
"""Session, account, access, ledger; begin, audit's end, audit line, commit."""
MASKED = re.compile(r'(csrfmiddlewaretoken" value="|X-CSRFToken": ")[^"]+')


def _page(client, cast, stage="feel", more="", **headers):
    address = f"/examinations/{cast.examination.pk}/stage/{stage}/{more}"
    return MASKED.sub(r"\1", client.get(address, **headers).content.decode())


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
    yield client.post(f"{address}/history/answer/", {"question": "fever", "answer": "yes"})
    marked = {"item": "gh_swelling", "side": "left", "value": {"kind": "sign", "grade": "marked"}}
    hot = {"item": "warmth", "side": "left", "value": {"kind": "choice", "choice": "hot"}}
    yield touch(client, cast.examination, marked, hot)


def test_a_page_from_kept_pieces_is_the_page_made_afresh(cast):
    client, swept = cast.client("owner"), 0
    for answer in _steps(cast):
        assert answer.status_code in (200, 302)
        for stage in Stage:
            kept = _page(client, cast, slug(stage))
            pieces._kept.clear()
            assert kept == _page(client, cast, slug(stage)), stage
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
        assert len(tokens) > 50
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
    pieces._kept.clear()
    monkeypatch.setattr(pieces, "KEPT", 5)
    _page(cast.client("owner"), cast)
    assert len(pieces._kept) == 5


@pytest.mark.django_db(transaction=True)
def test_a_touch_asks_the_database_a_fixed_number_of_times(cast, django_assert_num_queries):
    client = cast.client("owner")
    for number in range(30):
        touch(client, cast.examination, tender(number % 4))
    with django_assert_num_queries(TOUCH_QUERIES):
        touch(client, cast.examination, tender(1, item="acj_tenderness"))


@pytest.mark.django_db(transaction=True)
def test_a_page_asks_the_database_a_fixed_number_of_times(cast, django_assert_num_queries):
    client = cast.client("owner")
    _page(client, cast)
    with django_assert_num_queries(PAGE_QUERIES):
        _page(client, cast)
