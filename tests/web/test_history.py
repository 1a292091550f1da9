"""Answers and the fields of the context: one entry each, from a script or a plain form."""

from __future__ import annotations

import html
import json
import re
from uuid import uuid4

import pytest

from sidewise.record.ledger import ContextSet, Opened, Stated
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import entries_of
from tests.web.cast import send, sign, tender, touch


def _state(cast, who, field, value, *replaces, name=""):
    entry = {"id": name or uuid4().hex, "at": "2026-03-02T09:41:00Z",
             "deed": {"do": "state", "field": field, "value": value,
                      "replaces": list(replaces)}}  # fmt: skip
    return send(cast.client(who), cast.examination, [entry])


def _get(cast, part, who="owner"):
    return cast.client(who).get(f"/examinations/{cast.examination.pk}/{part}").content.decode()


def _states(page):
    return html.unescape(re.search(r'name="states" value="([^"]*)"', page).group(1))


def test_an_answer_is_one_entry_of_its_own(cast):
    before = len(entries_of(cast.examination))
    answer = _state(cast, "owner", "history.fever", "yes")
    assert answer.status_code == 200
    last = entries_of(cast.examination)
    assert len(last) == before + 1
    assert isinstance(last[-1].deed, Stated)
    assert cast.record.context.answer("fever") == "yes"


def test_the_answer_brings_the_question_as_it_stands_now(cast):
    text = _state(cast, "owner", "history.fever", "yes", name="a1").content.decode()
    question = re.search(r'<form class="question yes" id="q-fever".*?</form>', text, re.S).group()
    assert 'hx-swap-oob="true"' in question
    assert 'name="replaces" value="a1"' in question
    assert 'value="yes" aria-pressed="true"' in question


def test_an_answer_is_undone_by_the_button_at_the_head(cast):
    page = _state(cast, "owner", "history.fever", "yes", name="a1").content.decode()
    assert 'name="undo" value="a1"' in page
    undo = {"id": "u1", "at": "2026-03-02T09:42:00Z", "deed": {"do": "undo", "entries": ["a1"]}}
    text = send(cast.client("owner"), cast.examination, [undo]).content.decode()
    assert 'class="question not-asked" id="q-fever"' in text
    assert cast.record.context.answer("fever") == "not asked"


def test_two_devices_with_different_questions_keep_both(cast):
    _state(cast, "owner", "history.fever", "yes")
    _state(cast, "colleague", "history.cancer", "no")
    assert cast.record.context.history == {"fever": "yes", "cancer": "no"}


def test_two_devices_with_different_answers_are_shown_on_every_page_until_one_is_kept(cast):
    _state(cast, "owner", "history.fever", "yes", name="a1")
    _state(cast, "colleague", "history.fever", "no", name="b1")
    for part in ("history/", "about/", "stage/feel/", "sign/", "note/"):
        page = _get(cast, part)
        assert ("CONFLICT, " in page) or part == "note/", part
        assert "yes (OWNER), no (COLLEAGUE)" in page, part
    # Somebody said yes: it goes on warning until it is settled.
    assert cast.record.context.answer("fever") == "yes"
    address = f"/examinations/{cast.examination.pk}/history/answer/"
    kept = {"state": "history.fever", "answer": "yes", "replaces": "a1 b1"}
    cast.client("owner").post(address, kept)
    assert cast.record.context.answer("fever") == "yes"
    assert "CONFLICT" not in _get(cast, "history/")


def test_a_dispute_keeps_the_record_from_being_signed(cast):
    _state(cast, "owner", "age", "61")
    _state(cast, "colleague", "age", "16")
    answer = sign(cast.client("owner"), cast.examination)
    assert answer.status_code == 422
    assert "different answers stand" in answer.content.decode()
    assert cast.record.signed is None


def test_the_form_states_only_what_was_changed(cast):
    page = _get(cast, "about/")
    form = {"states": _states(page), "age": "61", "complaint": ["left"], "setting": "primary"}
    shown = json.loads(form["states"])
    form = {**{name: one["was"] for name, one in shown.items()}, **form}
    cast.client("owner").post(f"/examinations/{cast.examination.pk}/about/", form)
    stated = [e.deed for e in entries_of(cast.examination) if isinstance(e.deed, Stated)]
    before = entries_of(cast.examination)[0].deed.context
    changed = {"age": before.age != 61, "complaint": before.complaint != ("left",),
               "setting": before.setting != "primary"}  # fmt: skip
    assert changed["age"]
    assert {deed.field for deed in stated} == {field for field, it_is in changed.items() if it_is}


def test_a_form_that_stood_open_does_not_undo_what_another_device_changed(cast):
    old = _states(_get(cast, "about/"))
    _state(cast, "colleague", "dominant", "left")
    was = {name: one["was"] for name, one in json.loads(old).items()}
    form = {**was, "states": old, "age": "61"}
    cast.client("owner").post(f"/examinations/{cast.examination.pk}/about/", form)
    context = cast.record.context
    assert (context.dominant, context.age) == ("left", 61)


def test_vital_signs_are_entries_and_an_emptied_one_was_not_taken(cast):
    address = f"/examinations/{cast.examination.pk}/history/vitals/"
    client = cast.client("owner")
    client.post(address, {"temperature": "36.8"})
    assert cast.record.context.vitals == {"temperature": 36.8}
    client.post(address, {"temperature": "", "states": _states(_get(cast, "history/"))})
    assert cast.record.context.vitals == {}
    assert not any(isinstance(e.deed, ContextSet) for e in entries_of(cast.examination))
    assert isinstance(entries_of(cast.examination)[0].deed, Opened)


@pytest.mark.parametrize("states", ["", "x", "[]", '{"age": 5}', '{"age": {"was": [1]}}', "{}"])
def test_a_broken_account_of_what_the_form_showed_changes_nothing_of_the_rules(cast, states):
    form = {"states": states, "age": "61"}
    answer = cast.client("owner").post(f"/examinations/{cast.examination.pk}/about/", form)
    assert answer.status_code == 302
    assert cast.record.context.age == 61


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("history.fever", "perhaps", 'fever: got "perhaps"'),
        ("history.nothing", "yes", "a question of the protocol"),
        ("vitals.temperature", "368", "degrees Celsius from 30 to 45"),
        ("patient", "HERON-2", "a field of the context"),
        ("examiner", "COLLEAGUE", "a field of the context"),
    ],
)
def test_a_statement_that_cannot_be_is_refused_with_words(cast, field, value, said):
    answer = _state(cast, "owner", field, value)
    assert answer.status_code == 422
    assert said in html.unescape(answer.content.decode())
    plain = cast.client("owner").post(f"/examinations/{cast.examination.pk}/history/answer/",
                                      {"state": field, "answer": value})  # fmt: skip
    assert plain.status_code == 400


def test_a_touch_and_an_answer_of_one_sending_come_back_together(cast):
    touch(cast.client("owner"), cast.examination, tender(1), stem="t")
    entries = [
        {"id": "t.1", "at": "2026-03-02T09:41:00Z",
         "deed": {"do": "state", "field": "age", "value": 61}},
    ]  # fmt: skip
    send(cast.client("owner"), cast.examination, entries)
    assert set(current(cast.examination).last_touch) == {"t.0", "t.1"}


def test_nothing_is_stated_of_a_signed_record(cast):
    client = cast.client("owner")
    assert sign(client, cast.examination).status_code == 302
    assert _state(cast, "owner", "age", 61).status_code == 422
    about = client.post(f"/examinations/{cast.examination.pk}/about/", {"age": "61"})
    assert about.status_code == 404
    assert cast.record.context.age != 61
