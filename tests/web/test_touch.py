"""A touch: saved at once, answered with what changed, refused with a reason, taken back."""

from __future__ import annotations

import pytest

from sidewise.web.examinations.models import LedgerEntry
from sidewise.web.examinations.state import current
from tests.web.cast import send, tender, touch


def _holds(cast):
    return list(current(cast.examination).holders)


def test_a_touch_is_one_entry(cast):
    touch(cast.client("owner"), cast.examination, tender(2))
    assert LedgerEntry.objects.filter(examination=cast.examination).count() == 2


def test_the_answer_is_the_row_the_head_and_the_strip(cast):
    page = touch(cast.client("owner"), cast.examination, tender(2)).content.decode()
    for name in ("row-coracoid_tenderness", "head", "strip", "flags", "foot-feel"):
        assert f'id="{name}"' in page
    assert page.count("data-row") == 1


def test_the_same_entry_sent_again_counts_once(cast):
    client = cast.client("owner")
    for _ in range(3):
        assert touch(client, cast.examination, tender(2), stem="once").status_code == 200
    assert len(cast.record.findings) == 1


def test_left_stays_left(cast):
    touch(cast.client("owner"), cast.examination, tender(2, "left"))
    assert [f.side for f in cast.record.findings] == ["left"]


def test_a_correction_names_what_it_replaces(cast):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    touch(client, cast.examination, tender(1), replaces=_holds(cast))
    assert [f.value.grade for f in cast.record.findings] == [1]


def test_a_second_device_makes_a_conflict_that_is_shown(cast):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    page = touch(client, cast.examination, tender(0)).content.decode()
    assert "CONFLICT" in page
    assert page.count('class="keep"') == 2


def test_keeping_one_value_settles_the_conflict(cast):
    client = cast.client("owner")
    touch(client, cast.examination, tender(2))
    touch(client, cast.examination, tender(0))
    touch(client, cast.examination, tender(2), replaces=_holds(cast))
    assert not cast.record.conflicts
    assert cast.record.findings[0].value.grade == 2


def test_undo_takes_back_one_touch_with_all_its_findings(cast):
    client = cast.client("owner")
    touch(client, cast.examination, tender(0, "left"), tender(0, "right"))
    last = current(cast.examination).last_touch
    assert len(last) == 2
    undo = {"id": "u1", "at": "2026-03-02T09:42:00Z", "deed": {"do": "undo", "entries": list(last)}}
    assert send(client, cast.examination, [undo]).status_code == 200
    assert cast.record.findings == ()


def test_undo_after_undo_goes_further_back(cast):
    client = cast.client("owner")
    for grade, item in ((1, "coracoid_tenderness"), (2, "acj_tenderness")):
        touch(client, cast.examination, tender(grade, item=item))
    for number in range(2):
        last = list(current(cast.examination).last_touch)
        undo = {"id": f"u{number}", "at": "2026-03-02T09:42:00Z",
                "deed": {"do": "undo", "entries": last}}  # fmt: skip
        send(client, cast.examination, [undo])
    assert cast.record.findings == ()


@pytest.mark.parametrize(
    ("finding", "words"),
    [
        (tender(9), "less than or equal to 3"),
        (tender(1, "midline"), "left"),
        ({**tender(1), "item": "no_such_item"}, "an item of the protocol"),
        ({"item": "flexion", "side": "left", "mode": "active",
          "value": {"kind": "angle", "degrees": "1650"}}, "360"),
        ({"item": "flexion", "side": "left", "mode": "active",
          "value": {"kind": "angle", "degrees": "195"}}, "degrees from 0 to 190"),
        ({"item": "neer", "side": "left", "status": "unable"}, "a reason is needed"),
        ({"item": "painful_arc", "side": "left",
          "value": {"kind": "arc", "from": "120", "to": "60"}}, "from must not be above to"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_with_the_reason(cast, finding, words):
    answer = touch(cast.client("owner"), cast.examination, finding)
    assert answer.status_code == 422
    assert words in answer.content.decode()
    assert cast.record.findings == ()


@pytest.mark.parametrize(
    "entries",
    [
        [],
        "text",
        [{"id": "x"}],
        [{"id": "x", "at": "2026-03-02T09:42:00Z", "deed": {"do": "sign"}}],
    ],
)
def test_anything_but_found_and_undo_is_refused(cast, entries):
    assert send(cast.client("owner"), cast.examination, entries).status_code == 422


def test_a_refusal_names_the_field_as_the_form_does(cast):
    value = {"kind": "angle", "degrees": -50, "instrument": "goniometer"}
    finding = {"item": "flexion", "side": "left", "mode": "active", "value": value}
    answer = touch(cast.client("owner"), cast.examination, finding)
    assert answer.status_code == 422
    assert answer.content.decode().startswith("degrees: got -50, expected degrees from ")


def test_nothing_of_a_refused_touch_is_kept(cast):
    answer = touch(cast.client("owner"), cast.examination, tender(1), tender(9))
    assert answer.status_code == 422
    assert LedgerEntry.objects.filter(examination=cast.examination).count() == 1


def test_a_plain_form_records_and_goes_back_to_the_row(cast):
    form = {"places": "neer left", "value": '{"kind":"result","result":"positive","pain":true}'}
    answer = cast.client("owner").post(f"/examinations/{cast.examination.pk}/record/", form)
    assert answer["Location"].endswith("/stage/special-tests/#row-neer")
    assert cast.record.findings[0].value.pain is True


def test_a_plain_form_with_a_wrong_value_shows_it_again(cast):
    form = {"places": "flexion left active", "kind": "angle", "angle.degrees": "abc"}
    answer = cast.client("owner").post(f"/examinations/{cast.examination.pk}/record/", form)
    assert answer.status_code == 422
    assert "expected a number" in answer.content.decode()


def test_a_plain_form_replaces_what_it_corrects(cast):
    client, address = cast.client("owner"), f"/examinations/{cast.examination.pk}/record/"
    for degrees in ("120", "125"):
        client.post(address, {"places": "flexion left active", "kind": "angle",
                              "angle.degrees": degrees, "angle.instrument": "eye"})  # fmt: skip
    assert [f.value.degrees for f in cast.record.findings] == [125]


def test_power_and_force_stand_side_by_side(cast):
    client, address = cast.client("owner"), f"/examinations/{cast.examination.pk}/record/"
    client.post(address, {"places": "abduction_power left", "value": '{"kind":"mrc","grade":"4"}'})
    client.post(address, {"places": "abduction_power left", "kind": "force", "force.newtons": "80"})
    assert {f.value.kind for f in cast.record.findings} == {"mrc", "force"}


def test_could_not_takes_the_place_of_a_value_and_gives_the_reason(cast):
    client, address = cast.client("owner"), f"/examinations/{cast.examination.pk}/record/"
    client.post(address, {"places": "neer left", "value": '{"kind":"result","result":"negative"}'})
    client.post(address, {"places": "neer left", "status": "unable", "reason": "too stiff"})
    assert [(f.status, f.reason) for f in cast.record.findings] == [("unable", "too stiff")]
