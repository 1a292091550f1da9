"""The mirror: rows, folding, the rest of a stage, states that are not normal."""

from __future__ import annotations

import json
from uuid import uuid4

import pytest

from sidewise.reason.judging.called_for import places
from sidewise.record import Finding, check_finding, is_normal
from sidewise.web.examinations.rows import row_of, stage_groups
from sidewise.web.examinations.state import current
from sidewise.web.examinations.together import open_places
from sidewise.web.examinations.widgets import is_measured, normal_value
from tests.shoulder import PROTOCOL, STAGES
from tests.web.cast import send, tender, touch

KILOBYTES = 1000
HEAVIEST = 200 * KILOBYTES


def _page(cast, stage="feel", who="owner", more=""):
    address = f"/examinations/{cast.examination.pk}/stage/{stage}/{more}"
    return cast.client(who).get(address)


def test_every_stage_has_a_page_under_200_kilobytes(cast):
    sizes = {stage.slug: len(_page(cast, stage.slug).content) for stage in PROTOCOL.stages}
    assert len(sizes) == 10
    assert max(sizes.values()) < HEAVIEST, sizes


def test_every_item_is_on_its_stage_as_a_row_or_by_name(cast):
    now = current(cast.examination)
    shown = [
        name
        for stage in PROTOCOL.stages
        for group in stage_groups(now, stage)
        for name in (item.id for item in (*group.rows, *group.more))
    ]
    assert sorted(shown) == sorted(PROTOCOL.by_id)
    assert len(shown) == len(PROTOCOL.items) > 200


def test_the_patients_right_stands_first_and_sides_are_written(cast):
    page = _page(cast).content.decode()
    assert page.index("patient's RIGHT") < page.index("patient's LEFT")
    assert "patient&#x27;s left, coracoid process" in page


def test_equal_and_normal_folds(cast):
    touch(cast.client("owner"), cast.examination, tender(0, "left"), tender(0, "right"))
    assert row_of(current(cast.examination), PROTOCOL.item("coracoid_tenderness")).folded


def test_equal_and_abnormal_stays_open_and_says_both(cast):
    touch(cast.client("owner"), cast.examination, tender(2, "left"), tender(2, "right"))
    row = row_of(current(cast.examination), PROTOCOL.item("coracoid_tenderness"))
    assert (row.folded, row.both) == (False, True)


def test_one_normal_side_does_not_fold(cast):
    touch(cast.client("owner"), cast.examination, tender(0, "left"))
    assert not row_of(current(cast.examination), PROTOCOL.item("coracoid_tenderness")).folded


@pytest.mark.parametrize("status", ["not examined", "unable", "withheld"])
def test_what_was_not_examined_looks_different_from_normal(cast, status):
    left = {"item": "coracoid_tenderness", "side": "left", "status": status, "reason": "sore"}
    touch(cast.client("owner"), cast.examination, left, tender(0, "right"))
    row = row_of(current(cast.examination), PROTOCOL.item("coracoid_tenderness"))
    seen = {side.side: side.cells[0].status for side in row.sides}
    assert seen == {"right": "normal", "left": status.replace(" ", "-")}
    assert not row.folded


def test_one_touch_never_covers_a_side_that_has_something(cast):
    touch(cast.client("owner"), cast.examination, tender(3, "left"))
    row = row_of(current(cast.examination), PROTOCOL.item("coracoid_tenderness"))
    assert [(one.label, one.places) for one in row.one_touch] == [
        ("normal on the right", "coracoid_tenderness right")
    ]


def test_the_rest_of_a_stage_never_holds_flags_options_or_measurements(cast):
    now, swept = current(cast.examination), 0
    for stage in PROTOCOL.stages:
        for place in open_places(now, stage):
            assert place.item.role == "essential"
            assert place.value["kind"] == "normal_by_eye" or not is_measured(place.item)
            assert not place.item.modes
            swept += 1
    assert swept > 80


def test_the_rest_of_a_stage_leaves_out_what_has_an_entry(cast):
    touch(cast.client("owner"), cast.examination, tender(2, "left"))
    names = [(p.item.id, p.side) for p in open_places(current(cast.examination), STAGES["feel"])]
    assert ("coracoid_tenderness", "left") not in names
    assert ("coracoid_tenderness", "right") in names


def test_the_rest_is_listed_by_name_and_recorded_together(cast):
    client = cast.client("owner")
    page = client.get(f"/examinations/{cast.examination.pk}/rest/feel/")
    assert "coracoid process not tender" in page.content.decode()
    findings = page.context["together"].findings
    import html

    client.post(
        f"/examinations/{cast.examination.pk}/record/", {"findings": html.unescape(findings)}
    )
    found = cast.record.findings
    assert len(found) == 2 * 10
    assert all(finding.together for finding in found)
    assert len(current(cast.examination).last_touch) == len(found)


def test_what_a_raised_flag_withholds_is_not_in_the_rest(cast):
    marked = {"item": "gh_swelling", "side": "left", "value": {"kind": "sign", "grade": "marked"}}
    red = {"item": "gh_redness", "side": "left", "value": {"kind": "sign", "grade": "present"}}
    hot = {"item": "warmth", "side": "left", "value": {"kind": "choice", "choice": "hot"}}
    client = cast.client("owner")
    client.post(f"/examinations/{cast.examination.pk}/history/answer/",
                {"state": "history.fever", "answer": "yes"})  # fmt: skip
    touch(client, cast.examination, marked, red, hot)
    now = current(cast.examination)
    assert now.completeness.raised
    held = [item.id for item in PROTOCOL.items if now.withheld.wholly(item)]
    assert held
    rest = {place.item.id for stage in PROTOCOL.stages for place in open_places(now, stage)}
    assert not rest & set(held)
    page = _page(cast, "special-tests").content.decode()
    assert "RAISED" in page
    assert "withheld:" in page


def test_every_one_touch_value_is_accepted_by_the_protocol_and_normal():
    swept = 0
    for item in PROTOCOL.items:
        value = normal_value(item)
        if value is None:
            continue
        side = "left" if item.paired else "midline"
        mode = item.modes[0] if item.modes else None
        finding = Finding.model_validate(
            {"item": item.id, "side": side, "mode": mode, "value": value}
        )
        check_finding(finding, PROTOCOL)
        assert is_normal(finding, item.kind(value["kind"])) is True, item.id
        swept += 1
    assert swept > 230


def test_standing_behind_turns_the_mirror(cast):
    assert 'class="stage behind"' in _page(cast, more="?stand=behind").content.decode()
    assert 'class="stage behind"' not in _page(cast).content.decode()


def test_a_reader_sees_no_button_that_records(cast):
    page = _page(cast, who="reader").content.decode()
    assert "data-touch" not in page
    assert "read only" in page


def test_an_unknown_stage_or_item_does_not_exist(cast):
    client = cast.client("owner")
    for part in ("stage/elsewhere/", "item/nothing/", "row/nothing/", "rest/elsewhere/"):
        assert client.get(f"/examinations/{cast.examination.pk}/{part}").status_code == 404


def test_every_item_tells_how_it_is_done(cast):
    client, told = cast.client("owner"), 0
    for item in PROTOCOL.items[::10]:
        page = client.get(f"/examinations/{cast.examination.pk}/item/{item.id}/?how=1")
        assert "mistakes" in page.content.decode()
        told += 1
    assert told == len(PROTOCOL.items[::10]) == 29


def test_a_stage_with_every_essential_item_recorded_is_under_150_kilobytes_before_compression(cast):
    client = cast.client("owner")
    could_not = {"status": "unable", "reason": "too painful"}
    found = [
        {"item": item.id, "side": side, **({"mode": mode} if mode else {}), **could_not}
        for item in PROTOCOL.items if item.role != "optional" for side, mode in places(item)
    ]  # fmt: skip
    assert touch(client, cast.examination, *found).status_code == 200
    sizes = {stage.id: len(_page(cast, stage.slug).content) for stage in PROTOCOL.stages}
    assert len(sizes) == 10
    assert min(sizes.values()) > 5 * KILOBYTES
    assert max(sizes.values()) < 150 * KILOBYTES, sizes


def test_a_page_goes_out_compressed_where_the_browser_takes_it(cast):
    address = f"/examinations/{cast.examination.pk}/stage/look/"
    plain, packed = (
        cast.client("owner").get(address, HTTP_ACCEPT_ENCODING=coding) for coding in ("", "gzip")
    )
    assert packed["Content-Encoding"] == "gzip"
    assert len(packed.content) * 5 < len(plain.content)


# --- called for ---


def _answer(cast, question):
    address = f"/examinations/{cast.examination.pk}/history/answer/"
    return cast.client("owner").post(address, {"state": f"history.{question}", "answer": "yes"},
                                     HTTP_HX_REQUEST="true")  # fmt: skip


def test_an_answer_opens_what_it_calls_for_in_the_strip_the_stage_and_before_signing(cast):
    name, why = "breast_lump", PROTOCOL.by_id["breast_lump"].needed_when.because
    before = current(cast.examination).completeness.done["feel"]
    link, row = (
        f'class="open-one" id="row-{name}"',
        f'<article class="row closed blank" id="row-{name}"',
    )
    page = _page(cast).content.decode()
    assert link in page
    assert row not in page
    assert _answer(cast, "breast_lump_noticed").status_code == 302
    now = current(cast.examination).completeness
    opened = [item for item in now.called if PROTOCOL.by_id[item].stage == "feel"]
    assert name in opened
    assert now.done["feel"] == (before[0], before[1] + len(opened))
    page = _page(cast).content.decode()
    assert f"{before[0]}/{now.done['feel'][1]}</span>" in page
    assert link not in page
    assert f"called for: {why}" in page[page.index(row) :]
    sign = cast.client("owner").get(f"/examinations/{cast.examination.pk}/sign/").content.decode()
    assert f"Why: {why}" in sign


def test_the_answer_to_an_answer_holds_the_new_tally(cast):
    said = {"do": "state", "field": "history.breast_lump_noticed", "value": "yes"}
    entry = {"id": uuid4().hex, "at": "2026-03-02T09:41:00Z", "deed": said}
    body = send(cast.client("owner"), cast.examination, [entry]).content.decode()
    total = current(cast.examination).completeness.done["feel"][1]
    assert f"/{total}</span>" in body


def test_how_to_do_it_says_why_it_is_called_for(cast):
    _answer(cast, "breast_lump_noticed")
    why = PROTOCOL.by_id["breast_lump"].needed_when.because
    address = f"/examinations/{cast.examination.pk}/item/breast_lump/?how=1"
    assert why in cast.client("owner").get(address).content.decode()


def test_a_finding_opens_the_rows_it_calls_for_in_its_own_stage(cast):
    marked = {"item": "winging_rest", "side": "left", "value": {"kind": "sign", "grade": "marked"}}
    assert 'class="open-one" id="row-winging_lateral"' in _page(cast, "look").content.decode()
    body = touch(cast.client("owner"), cast.examination, marked).content.decode()
    assert 'id="row-winging_lateral"' in body
    assert PROTOCOL.by_id["winging_lateral"].needed_when.because in body
    # Other stages show their rows when they are opened.
    assert 'id="row-trapezius_power"' not in body


def test_a_kind_no_longer_offered_is_not_on_the_page_but_an_old_value_is_shown(cast):
    grip = PROTOCOL.by_id["grip_power"]
    assert grip.not_offered == ("mrc",)
    value = {"kind": "mrc", "grade": "4"}
    touch(cast.client("owner"), cast.examination,
          {"item": "grip_power", "side": "left", "value": value})  # fmt: skip
    row = row_of(current(cast.examination), grip, opened=True)
    cells = [cell for side in row.sides for cell in side.cells]
    assert {widget.kind for cell in cells for widget in cell.widgets} == {"force", "result"}
    # One touch writes the result, never a grade.
    assert [json.loads(one.code)["kind"] for one in row.one_touch] == ["result"]
    assert [cell.phrase for cell in cells if cell.side == "left"] == ["power 4/5"]


def test_what_is_called_for_is_never_recorded_with_the_rest(cast):
    _answer(cast, "breast_lump_noticed")
    now = current(cast.examination)
    rest = {place.item.id for stage in PROTOCOL.stages for place in open_places(now, stage)}
    assert now.completeness.called
    assert rest.isdisjoint(now.completeness.called)
