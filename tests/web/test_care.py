"""What was done, planned and shown by tests, and scores: recorded, refused, undone on one page."""

from __future__ import annotations

import pytest

from sidewise.record.ledger import Cared
from sidewise.web.examinations.state import current
from tests.web.cast import touch

STEP = {"kind": "step", "step-state": "planned", "step-name": "referral", "step-to": "the surgeons",
        "step-how_fast": "within two weeks", "step-side": "left"}  # fmt: skip
INJECTION = {
    "kind": "injection", "injection-side": "left", "injection-side_again": "left",
    "injection-substance_1": "triamcinolone", "injection-dose_1": "40", "injection-unit_1": "mg",
    "injection-place": "below the acromion", "injection-allergy": "no",
    "injection-blood_thinner": "no", "injection-diabetes": "no", "injection-infection": "no",
    "injection-consent": "on",
}  # fmt: skip
RESULT = {"kind": "investigation", "investigation-name": "inflammation markers",
          "investigation-outcome": "abnormal", "investigation-number": "48",
          "investigation-unit": "mg/l"}  # fmt: skip
SCORE = {"kind": "score", "score-name": "a licensed questionnaire", "score-total": "31",
         "score-low": "0", "score-high": "48", "score-better": "higher"}  # fmt: skip


def _address(cast):
    return f"/examinations/{cast.examination.pk}/care/"


def _care(cast):
    return current(cast.examination).record.care


def _refused(cast, form):
    answer = cast.client("owner").post(_address(cast), form)
    assert answer.status_code == 422
    assert _care(cast) == ()
    return answer.content.decode()


def _hot_joint(cast):
    client = cast.client("owner")
    for item, value in (
        ("warmth", {"kind": "choice", "choice": "hot"}),
        ("global_passive_pain", {"kind": "sign", "grade": "present"}),
        ("gh_swelling", {"kind": "sign", "grade": "marked"}),
    ):
        answer = touch(client, cast.examination, {"item": item, "side": "left", "value": value})
        assert answer.status_code == 200
    client.post(f"/examinations/{cast.examination.pk}/history/answer/",
                {"state": "history.fever", "answer": "yes"})  # fmt: skip
    raised = {flag.flag for flag in current(cast.examination).completeness.raised}
    assert "hot_swollen_joint" in raised
    return current(cast.examination).against_injection


@pytest.mark.parametrize("form", [STEP, INJECTION, RESULT, SCORE], ids=lambda form: form["kind"])
def test_an_entry_is_recorded_attributed_listed_and_in_the_note(cast, form):
    client = cast.client("colleague")
    answer = client.post(_address(cast), form)
    assert answer.status_code == 302, answer.content.decode()
    now = current(cast.examination)
    assert [entry.kind for entry in now.record.care] == [form["kind"]]
    last = now.entries[-1]
    assert isinstance(last.deed, Cared)
    assert last.by == cast.colleague.signs_as
    words = {"step": "to the surgeons, within two weeks", "injection": "triamcinolone 40 mg",
             "investigation": "48 mg/l", "score": "31 (of 0 to 48)"}[form["kind"]]  # fmt: skip
    assert words in client.get(_address(cast)).content.decode()
    note = f"/examinations/{cast.examination.pk}/note/"
    assert words in " ".join(client.get(note).content.decode().split())


def test_the_side_of_an_injection_is_never_filled_in_and_must_be_said_twice_alike(cast):
    page = cast.client("owner").get(_address(cast)).content.decode()
    for name in ("injection-side", "injection-side_again"):
        field = page[page.index(f'name="{name}"') :]
        assert "selected" not in field[: field.index("</select>")].replace('value="" selected', "")
    assert "the same side twice" in _refused(cast, {**INJECTION, "injection-side_again": "right"})
    assert "This field is required" in _refused(cast, {**INJECTION, "injection-side_again": ""})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"injection-consent": ""}, "consent given before"),
        ({"injection-allergy": ""}, "This field is required"),
        ({"injection-infection": "unsure"}, "although allergy or infection"),
        ({"injection-dose_1": "0"}, "Substance, dose and unit"),
        ({"injection-dose_1": "much"}, "Enter a number"),
        ({"injection-place": "the knee"}, "Select a valid choice"),
        ({"injection-degrees_before": "60", "injection-relief": "all",
          "injection-after_minutes": "10"}, "its degrees before and after"),
    ],
)  # fmt: skip
def test_an_injection_that_leaves_something_open_is_refused_in_words(cast, change, said):
    assert said in _refused(cast, {**INJECTION, **change})


def test_a_raised_flag_of_infection_stops_it_until_it_is_acknowledged_by_name(cast):
    stopping = _hot_joint(cast)
    page = _refused(cast, INJECTION)
    assert "a raised flag: hot, swollen joint" in page
    assert "Do not inject" in page
    assert 'value="hot_swollen_joint"' in page
    # Another flag's name does not do.
    named = [flag.flag for flag in stopping]
    others = {**INJECTION, "injection-flags": [n for n in named if n != "hot_swollen_joint"]}
    assert "a raised flag: hot, swollen joint" in _refused(cast, others)
    client = cast.client("owner")
    answer = client.post(_address(cast), {**INJECTION, "injection-flags": named})
    assert answer.status_code == 302, answer.content.decode()
    assert set(_care(cast)[0].flags) == set(named)
    # It goes on warning.
    assert "hot_swollen_joint" in {f.flag for f in current(cast.examination).completeness.raised}
    note = client.get(f"/examinations/{cast.examination.pk}/note/").content.decode()
    assert "acknowledged by name, though raised: hot, swollen joint" in " ".join(note.split())


def test_an_abnormal_blood_result_speaks_to_the_flags_like_the_answer_to_its_question(cast):
    client = cast.client("owner")
    before = {flag.flag for flag in current(cast.examination).completeness.raised}
    client.post(_address(cast), RESULT)
    by_result = {f.flag: f.status for f in current(cast.examination).completeness.flags}
    other = cast.open()
    client.post(f"/examinations/{other.pk}/history/answer/",
                {"state": "history.raised_markers", "answer": "yes"})  # fmt: skip
    by_answer = {f.flag: f.status for f in current(other).completeness.flags}
    assert by_result == by_answer
    assert before == {flag.flag for flag in current(cast.examination).completeness.raised}


def test_an_entry_is_taken_back_from_its_list_and_by_undo(cast):
    client = cast.client("owner")
    client.post(_address(cast), STEP)
    client.post(_address(cast), RESULT)
    first, second = current(cast.examination).folded.care
    client.post(_address(cast), {"undo": first})
    assert tuple(current(cast.examination).folded.care) == (second,)
    assert current(cast.examination).last_touch == (second,)
    answer = client.post(f"/examinations/{cast.examination.pk}/record/", {"undo": second})
    assert answer.status_code == 302
    assert _care(cast) == ()
    assert len(current(cast.examination).entries) == 5


def test_undo_by_script_sends_the_list_again(cast):
    import json
    from uuid import uuid4

    client = cast.client("owner")
    client.post(_address(cast), STEP)
    (name,) = current(cast.examination).folded.care
    entry = {"id": uuid4().hex, "at": "2026-03-02T10:00:00Z",
             "deed": {"do": "undo", "entries": [name]}}  # fmt: skip
    address, body = f"/examinations/{cast.examination.pk}/touch/", json.dumps({"entries": [entry]})
    answer = client.post(address, body, content_type="application/json")
    assert answer.status_code == 200
    assert 'id="care-list"' in answer.content.decode()
    assert "Nothing yet" in answer.content.decode()


def test_scores_are_recorded_within_their_ends_and_stand_in_the_note(cast):
    client = cast.client("owner")
    answer = client.post(_address(cast), {"scores": "1", "pain_night_0_10": "7",
                                          "function_single_0_100": "40"})  # fmt: skip
    assert answer.status_code == 302
    scales = current(cast.examination).record.context.scales
    assert scales == {"pain_night_0_10": 7, "function_single_0_100": 40}
    note = client.get(f"/examinations/{cast.examination.pk}/note/").content.decode()
    assert "pain at night 7 (of 0 to 10)" in " ".join(note.split())
    wrong = client.post(_address(cast), {"scores": "1", "pain_night_0_10": "70"})
    assert wrong.status_code == 422
    assert "A number from 0 to 10" in wrong.content.decode()
    assert current(cast.examination).record.context.scales == scales


def test_a_total_that_the_region_does_not_follow_cannot_be_stated(cast):
    answer = cast.client("owner").post(
        f"/examinations/{cast.examination.pk}/history/answer/",
        {"state": "scales.happiness", "answer": "3"},
    )
    assert answer.status_code == 400
    assert "context.scales.happiness: got" in answer.content.decode()


def test_nothing_is_written_into_a_closed_record_or_by_another_form(cast):
    client = cast.client("owner")
    other = client.post(_address(cast), {"kind": "spell"})
    assert (other.status_code, b"expected one of step" in other.content) == (400, True)
    client.post(f"/examinations/{cast.examination.pk}/discard/", {"reason": "begun by mistake"})
    assert client.post(_address(cast), STEP).status_code == 404
