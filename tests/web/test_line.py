"""A typed line at the bedside: shown back first, recorded only when confirmed."""

from __future__ import annotations

import html
import re

import pytest

from sidewise.record.ledger import Entry, Signed, Undone
from sidewise.web.examinations.models import LedgerEntry
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import append
from tests.web.cast import touch

NEER = {"item": "neer", "side": "left", "value": {"kind": "result", "result": "positive"}}


def _post(cast, text, who="owner", **more):
    return cast.client(who).post(f"/examinations/{cast.examination.pk}/line/",
                                 {"text": text, **more})  # fmt: skip


def _hidden(page, name):
    return html.unescape(re.search(rf'type="hidden" name="{name}" value="([^"]*)"', page)[1])


def _radios(page):
    return [html.unescape(code) for code in re.findall(r'type="radio"[^>]* value="([^"]*)"', page)]


def _confirm(cast, text, who="owner", **answers):
    """Read a line, then press the button with what the page holds."""
    page = _post(cast, text, who).content.decode()
    sent = {name: _hidden(page, name) for name in ("text", "seen")}
    return _post(cast, sent.pop("text"), who, **sent, record="1", **answers)


def _rows(cast):
    return LedgerEntry.objects.filter(examination=cast.examination).count()


@pytest.mark.parametrize("stage", ["look", "move", "special-tests", "close"])
def test_every_stage_page_of_a_draft_has_the_form_folded_away(cast, stage):
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/stage/{stage}/")
    assert page.content.decode().count("<details><summary>type a line</summary>") == 1


def test_a_reader_has_no_form(cast):
    page = cast.client("reader").get(f"/examinations/{cast.examination.pk}/stage/look/")
    assert b"type a line" not in page.content


def test_a_line_is_shown_back_in_words_and_nothing_is_stored(cast):
    page = _post(cast, "Neer L pos; ER passive R 15")
    words = page.content.decode()
    assert page.status_code == 200
    assert "patient&#x27;s left: <b>positive" in words
    assert "passive, patient&#x27;s right: <b>15°" in words
    assert _rows(cast) == 1


def test_a_confirmed_line_is_stored_and_goes_back_to_the_last_row(cast):
    answer = _confirm(cast, "ER passive L 15; Neer R neg")
    assert answer.status_code == 302
    assert answer["Location"].endswith("/stage/special-tests/#row-neer")
    assert {(f.item, f.side, f.mode) for f in cast.record.findings} == {
        ("external_rotation_at_side", "left", "passive"), ("neer", "right", None),
    }  # fmt: skip


@pytest.mark.parametrize("side", ["left", "right"])
def test_left_stays_left_and_right_stays_right(cast, side):
    _confirm(cast, f"Neer {side} pos")
    assert [f.side for f in cast.record.findings] == [side]


def test_one_undo_takes_a_whole_line_back(cast):
    _confirm(cast, "Neer both neg; ER passive L 15")
    last = current(cast.examination).last_touch
    assert len(last) == 3
    about = {"at": "2026-03-02T09:42:00Z", "by": "OWNER"}
    append(cast.examination, [Entry(id="u", deed=Undone(entries=last), **about)])
    assert cast.record.findings == ()


def test_a_correction_is_named_and_replaces(cast):
    touch(cast.client("owner"), cast.examination, NEER)
    assert "replaces positive" in _post(cast, "Neer L neg").content.decode()
    _confirm(cast, "Neer L neg")
    assert [f.value.result for f in cast.record.findings] == ["negative"]
    assert not cast.record.conflicts


def test_a_reading_of_the_same_number_replaces_whatever_its_instrument(cast):
    _confirm(cast, "ER passive L 15 by goniometer")
    assert "replaces 15°" in _post(cast, "ER passive L 20").content.decode()


def test_a_second_reading_stands_beside_and_the_page_says_so(cast):
    _confirm(cast, "ER passive L 15 by goniometer")
    line = "ER passive L 20 by inclinometer reading 2"
    assert "stands beside 15°" in _post(cast, line).content.decode()


def test_a_question_is_asked_with_nothing_chosen(cast):
    page = _post(cast, "ER 15").content.decode()
    assert len(_radios(page)) == 7
    assert " checked" not in page


def test_a_question_left_open_is_refused_and_nothing_is_stored(cast):
    answer = _confirm(cast, "ER 15; Neer L pos")
    assert answer.status_code == 422
    assert "an answer, or to be left out" in answer.content.decode()
    assert _rows(cast) == 1


def test_an_answered_question_is_stored_as_answered(cast):
    codes = _radios(_post(cast, "ER 15").content.decode())
    left = next(code for code in codes if code.endswith("left, passive"))
    _confirm(cast, "ER 15", **{"question.0": left})
    assert [(f.side, f.mode, f.value.degrees) for f in cast.record.findings] == [
        ("left", "passive", 15)
    ]


def test_a_part_left_out_leaves_the_others(cast):
    _confirm(cast, "ER 15; Neer L pos", **{"question.0": "leave out"})
    assert [f.item for f in cast.record.findings] == ["neer"]


def test_an_answer_to_another_question_is_no_answer(cast):
    answer = _confirm(cast, "ER 15", **{"question.0": "0 an answer of the page's own"})
    assert answer.status_code == 422
    assert _rows(cast) == 1


def test_what_was_not_understood_is_marked_and_not_stored(cast):
    text = "Neer R pos hardly; Hawkins L neg"
    page = _post(cast, text).content.decode()
    assert re.search(r"<mark>Neer R pos hardly</mark> not understood: ", page)
    _confirm(cast, text)
    assert [(f.item, f.side) for f in cast.record.findings] == [("hawkins_kennedy", "left")]


def test_a_line_of_which_nothing_was_understood_has_no_button(cast):
    assert b"record these" not in _post(cast, "blob").content
    seen = current(cast.examination).length
    assert _post(cast, "blob", record="1", seen=seen).status_code == 422
    assert _rows(cast) == 1


def test_what_was_typed_is_shown_as_text(cast):
    page = _post(cast, "<script>alert(1)</script>").content.decode()
    assert "<script>alert" not in page
    assert "&lt;script&gt;alert" in page


def test_findings_on_the_page_are_not_believed(cast):
    seen = current(cast.examination).length
    _post(cast, "Neer L pos", record="1", seen=seen, findings='[{"item":"speed","side":"right"}]')
    assert [(f.item, f.side) for f in cast.record.findings] == [("neer", "left")]


def test_a_record_that_changed_meanwhile_is_shown_again_first(cast):
    page = _post(cast, "Neer L neg").content.decode()
    touch(cast.client("colleague"), cast.examination, NEER)
    answer = _post(cast, "Neer L neg", record="1", seen=_hidden(page, "seen"))
    assert answer.status_code == 422
    assert "replaces positive" in answer.content.decode()
    assert [f.value.result for f in cast.record.findings] == ["positive"]


def test_a_form_sent_twice_is_stored_once(cast):
    seen = current(cast.examination).length
    answers = [_post(cast, "Neer L pos", record="1", seen=seen).status_code for _ in range(2)]
    assert answers == [302, 422]
    assert _rows(cast) == 2


def test_contradictions_in_one_line_are_a_conflict_and_none_is_lost(cast):
    _confirm(cast, "Neer L pos; Neer L neg")
    assert len(cast.record.conflicts) == 1


def test_a_colleagues_line_carries_the_colleagues_name(cast):
    _confirm(cast, 'Neer L pos examiner "OWNER"', "colleague")
    assert [f.examiner for f in cast.record.findings] == ["COLLEAGUE"]


@pytest.mark.parametrize(("who", "status"), [("reader", 403), ("stranger", 404)])
@pytest.mark.parametrize("more", [{}, {"record": "1", "seen": "1"}])
def test_a_reader_is_told_and_a_stranger_learns_nothing(cast, who, status, more):
    assert _post(cast, "Neer L pos", who, **more).status_code == status
    assert _rows(cast) == 1


def test_the_line_never_stands_in_an_address(cast):
    answer = cast.client("owner").get(f"/examinations/{cast.examination.pk}/line/?text=Neer+L+pos")
    assert answer.status_code == 405


@pytest.mark.parametrize("more", [{}, {"record": "1", "seen": "2"}])
def test_a_signed_record_is_refused_with_a_message(cast, more):
    about = {"at": "2026-03-02T09:42:00Z", "by": "OWNER"}
    append(cast.examination, [Entry(id="s", deed=Signed(), **about)])
    answer = _post(cast, "Neer L pos", **more)
    assert answer.status_code == 422
    assert "a signed record" in answer.content.decode()
    assert _rows(cast) == 2
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/stage/look/")
    assert b"type a line" not in page.content


@pytest.mark.parametrize("text", ["", "  \r\n "])
def test_an_empty_line_is_refused_with_a_message(cast, text):
    answer = _post(cast, text)
    assert answer.status_code == 422
    assert "what was found" in answer.content.decode()


def test_a_line_may_have_1000_characters_and_no_more(cast):
    line = "Neer L pos;".ljust(999, " ") + "."
    assert len(line) == 1000
    assert _post(cast, line).status_code == 200
    answer = _post(cast, line + ".")
    assert answer.status_code == 422
    assert "at most 1,000" in answer.content.decode()


def test_ends_of_lines_survive_the_way_through_the_page(cast):
    _confirm(cast, "Neer L pos\r\nHawkins R neg")
    assert [(f.item, f.side) for f in cast.record.findings] == [
        ("neer", "left"), ("hawkins_kennedy", "right"),
    ]  # fmt: skip
