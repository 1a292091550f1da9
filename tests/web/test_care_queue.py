"""A form of done and planned that was filled in without network: recorded once, or held whole."""

from __future__ import annotations

import json
from uuid import uuid4

import pytest

from sidewise.record.ledger import Entry, Signed
from sidewise.web.examinations.models import HeldEntry
from sidewise.web.examinations.state import current
from sidewise.web.examinations.store import append
from tests.safe.conftest import WHEN
from tests.web.test_care import INJECTION, RESULT, SCORE, STEP, _hot_joint


def _sent(form, name=None):
    kind = form["kind"]
    fields = [[key, text] for key, text in form.items() if key != "kind"]
    deed = {"do": "form", "kind": kind, "fields": fields}
    return {"id": name or uuid4().hex, "at": WHEN.isoformat(), "deed": deed}


def _send(cast, *entries, who="owner"):
    address = f"/examinations/{cast.examination.pk}/queue/"
    body = json.dumps({"entries": entries})
    return cast.client(who).post(address, body, content_type="application/json")


def _care(cast):
    return current(cast.examination).record.care


def _review(cast, **more):
    held = HeldEntry.objects.get()
    form = {"kind": held.entry["deed"]["kind"], **dict(held.entry["deed"]["fields"])}
    address = f"/examinations/{cast.examination.pk}/care/"
    return cast.client("owner").post(address, {**form, "held": held.pk, **more})


@pytest.mark.parametrize("form", [STEP, INJECTION, RESULT, SCORE], ids=lambda form: form["kind"])
def test_it_is_recorded_as_the_form_is_under_its_own_time_and_name(cast, form):
    entry = _sent(form)
    answer = _send(cast, entry, who="colleague").json()
    assert (answer["stored"], answer["held"]) == ([entry["id"]], [])
    late = _care(cast)
    (stored,) = (one for one in current(cast.examination).entries if one.id == entry["id"])
    assert (stored.by, stored.at) == ("COLLEAGUE", WHEN)
    other = cast.open()
    cast.client("colleague").post(f"/examinations/{other.pk}/care/", form)
    assert current(other).record.care == late


def test_sent_twice_or_with_its_answer_lost_it_counts_once(cast):
    entry = _sent(INJECTION)
    address = f"/examinations/{cast.examination.pk}/care/"
    cast.client("owner").post(address, {**INJECTION, "touch": entry["id"]})
    # A flag raised since would refuse it now; what stands is not refused.
    _hot_joint(cast)
    for _ in range(2):
        assert _send(cast, entry).json()["stored"] == [entry["id"]]
    assert len(_care(cast)) == 1
    assert not HeldEntry.objects.exists()


def test_two_sides_of_one_injection_are_held_and_never_recorded(cast):
    entry = _sent({**INJECTION, "injection-side_again": "right"})
    assert _send(cast, entry).json()["held"] == [entry["id"]]
    assert _care(cast) == ()


def test_an_injection_against_a_flag_raised_meanwhile_waits_until_it_is_acknowledged(cast):
    named = [flag.flag for flag in _hot_joint(cast)]
    assert len(_send(cast, _sent(INJECTION)).json()["held"]) == 1
    page = _review(cast, review="1").content.decode()
    assert 'name="injection-flags"' in page
    assert _care(cast) == ()
    assert _review(cast).status_code == 422
    assert HeldEntry.objects.get().settled_at is None
    assert _review(cast, **{"injection-flags": named}).status_code == 302
    assert set(_care(cast)[0].flags) == set(named)
    assert HeldEntry.objects.get().settled_how == "add"


def test_what_is_said_of_a_held_form_repeats_nothing_of_it(cast):
    _send(cast, _sent({**SCORE, "score-total": "ninety"}))
    why = HeldEntry.objects.get().why
    assert "Total" in why
    assert "ninety" not in why


def test_after_signing_it_is_held_and_shown_for_a_decision(cast):
    append(cast.examination, [Entry(id="s", at=WHEN, by="OWNER", deed=Signed())])
    entry = _sent(STEP)
    assert _send(cast, entry).json()["held"] == [entry["id"]]
    page = cast.client("owner").get(f"/examinations/{cast.examination.pk}/held/").content.decode()
    assert "step: planned, referral, the surgeons" in page
    assert 'name="step-to" value="the surgeons"' in page
    assert 'value="add"' not in page


@pytest.mark.parametrize(
    "deed",
    [{"do": "form", "kind": "signature", "fields": []},
     {"do": "form", "kind": "step", "fields": "all"},
     {"do": "form", "kind": "step", "fields": [["step-name"]]},
     {"do": "form", "kind": "step", "fields": [["step-name", 7]]},
     {"do": "form", "kind": "step", "fields": [["a", "b"]] * 81}],
)  # fmt: skip
def test_what_is_no_form_is_held_like_anything_unread(cast, deed):
    name = uuid4().hex
    entry = {"id": name, "at": WHEN.isoformat(), "deed": deed}
    assert _send(cast, entry).json()["held"] == [name]
    assert _care(cast) == ()


def test_a_reader_may_send_no_form(cast):
    assert _send(cast, _sent(STEP), who="reader").status_code == 403
    assert not HeldEntry.objects.exists()


def test_scores_by_script_bring_their_form_again(cast):
    stated = {"do": "state", "field": "scales.pain_night_0_10", "value": "7"}
    address = f"/examinations/{cast.examination.pk}/touch/"
    body = {"entries": [{"id": "n", "at": WHEN.isoformat(), "deed": stated}]}
    answer = cast.client("owner").post(address, json.dumps(body), content_type="application/json")
    page = answer.content.decode()
    assert 'id="scores"' in page
    assert 'value="7.0"' in page
