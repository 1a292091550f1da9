"""Every item and every kind of value can be entered on the page and comes back from the file."""

from __future__ import annotations

import itertools
import re
from typing import Any

import pytest
from playwright.sync_api import expect

from sidewise.kinds import NAMES as KIND_NAMES
from sidewise.protocol import Item
from tests.browser.hand import Hand
from tests.shoulder import PROTOCOL

pytestmark = pytest.mark.browser

CODES = (f"PLOVER-{number}" for number in itertools.count(100))
# What is typed into the full entry of a kind that is not a row of buttons.
TYPED = {
    "angle": {"angle.degrees": "41"},
    "arc": {"arc.from": "60", "arc.to": "110"},
    "length": {"length.cm": "1.5"},
    "seconds": {"seconds.seconds": "4"},
    "count": {"count.count": "5"},
    "force": {"force.newtons": "85"},
    "vital": {"vital.number": "128"},
    "place": {"place.what": "old scar"},
    "text": {"text.text": "as it was told"},
}


def _enter_all(hand: Hand, address: str, item: Item) -> set[tuple[str, str, str | None, str]]:
    """Each kind of the item at each place, from its full entry; returns what was entered."""
    page, entered = hand.page, set()
    for kind in item.kinds:
        for side in ("right", "left") if item.paired else ("midline",):
            for mode in item.modes or (None,):
                page.goto(f"{address}item/{item.id}/")
                _enter(hand, item, kind.kind, side, mode)
                entered.add((item.id, side, mode, kind.kind))
    return entered


def _enter(hand: Hand, item: Item, kind: str, side: str, mode: str | None) -> None:
    place = " ".join(filter(None, (item.id, side, mode)))
    form = f"form[data-touch]:has(input[name=places][value='{place}'])"
    if kind == "level":
        hand.page.select_option(f"{form} select[name='level.level']", "T7")
        assert hand.save(f"{form} .record[value=level]") == 200
    elif kind in TYPED:
        for name, text in TYPED[kind].items():
            hand.page.fill(f"{form} [name='{name}']", text)
        assert hand.save(f"{form} .record[value={kind}]") == 200
    else:
        assert hand.save(f'{form} .chip[name=value][value*=\'"kind":"{kind}"\']') == 200


def _found(record: Any) -> set[tuple[str, str, str | None, str]]:
    return {(f.item, f.side, f.mode, f.value.kind) for f in record.findings if f.value}


def _one_of_each_kind() -> list[Item]:
    chosen: dict[str, Item] = {}
    for item in PROTOCOL.items:
        for kind in item.kinds:
            chosen.setdefault(kind.kind, item)
    return list({item.id: item for item in chosen.values()}.values())


def test_every_kind_of_value_is_entered_and_comes_back(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    address = hand.begin(next(CODES))
    kinds = set()
    for item in _one_of_each_kind():
        entered = _enter_all(hand, address, item)
        # A number takes the place of "full by eye", so only the last of a group stays.
        left = {entry for entry in _found(hand.file(address)) if entry[0] == item.id}
        assert left <= entered
        assert {e[:3] for e in left} == {e[:3] for e in entered}
        kinds |= {entry[3] for entry in entered}
    assert kinds == set(KIND_NAMES)
    assert len(kinds) == 20


@pytest.mark.long
def test_every_item_is_entered_on_its_row_and_comes_back(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    address = hand.begin(next(CODES))
    for stage in PROTOCOL.stages:
        for item in (item for item in PROTOCOL.items if item.stage == stage.id):
            _first_way(hand, address, item)
    found = {(f.item, f.side) for f in hand.file(address).findings}
    wanted = {
        (i.id, s) for i in PROTOCOL.items for s in (("left", "right") if i.paired else ("midline",))
    }
    assert found == wanted
    assert len(wanted) == 542


def _first_way(hand: Hand, address: str, item: Item) -> None:
    """The item by the quickest way its row offers, on every side."""
    page, row = hand.page, f"#row-{item.id}"
    stage = PROTOCOL.stage_of(item).slug
    if stage not in page.url:
        page.goto(f"{address}stage/{stage}/")
    if page.locator(f"a.open-one{row}").count():
        page.locator(row).tap()
        expect(page.locator(f"article{row}")).to_have_count(1)
    if page.locator(f"{row} .one-touch").count():
        assert hand.save(f"{row} .one-touch") == 200
        return
    for side in ("right", "left") if item.paired else ("midline",):
        hand.unfold(f"{row} .{side} form")
        chips = f"{row} .{side} .chip[name=value]"
        if page.locator(chips).count():
            assert hand.save(chips) == 200
        else:
            kind = item.kinds[0].kind
            for name, text in TYPED[kind].items():
                page.fill(f"{row} .{side} input[name='{name}']", text)
            assert hand.save(f"{row} .{side} .record") == 200


def test_left_stays_left_in_page_record_note_and_file(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/special-tests/")
    assert (
        hand.save("#row-neer [aria-label=\"patient's left, Neer sign\"] .chip:text-is('+ pain')")
        == 200
    )
    expect(page.locator("#row-neer .left .phrase")).to_contain_text("positive")
    expect(page.locator("#row-neer .right .phrase")).to_have_count(0)
    assert [(f.item, f.side) for f in hand.file(address).findings] == [("neer", "left")]
    page.goto(f"{address}note/")
    row = page.locator(".note tr", has_text="Neer").first
    assert "not examined" in row.locator("td").nth(0).inner_text()
    assert "positive" in row.locator("td").nth(1).inner_text()
    heads = page.locator(".note thead th").all_inner_texts()[:3]
    assert heads == ["patient's right", "item", "patient's left"]


def test_standing_behind_swaps_the_columns_not_the_sides(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/feel/")
    row = "document.querySelector('#row-coracoid_tenderness')"
    x = f"side => {row}.querySelector('.' + side).getBoundingClientRect().x"
    assert page.evaluate(x, "right") < page.evaluate(x, "left")
    page.locator("[data-turn]").first.tap()
    assert page.evaluate(x, "left") < page.evaluate(x, "right")
    expect(page.locator(".turn").first).to_contain_text("you stand behind")
    hand.save("#row-coracoid_tenderness .left .chip:text-is('2')")
    assert hand.file(address).findings[0].side == "left"


def test_a_wrong_angle_shows_its_message_and_keeps_the_old_value(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/move/")
    form = "#row-flexion .left .cell:has(.mode:text-is('active')) form.number"
    hand.type(f"{form} input[name='angle.degrees']", "1650")
    assert hand.save(f"{form} .record") == 422
    expect(page.locator(f"{form} [data-error]")).to_contain_text("got")
    expect(page.locator("#notice")).to_contain_text("got")
    assert hand.file(address).findings == ()


def test_a_wrong_vital_sign_swaps_in_its_message(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}history/")
    page.fill("#id_temperature", "368")
    with page.expect_response(lambda r: r.url.endswith("/touch/")) as answer:
        page.click("#vitals button")
    assert answer.value.status == 422
    expect(page.locator("#vitals [data-error]")).to_contain_text("degrees Celsius from 30 to 45")
    page.fill("#id_temperature", "36.8")
    page.click("#vitals button")
    expect(page.locator("#notice")).to_have_text("saved")
    assert hand.file(address).context.vitals == {"temperature": 36.8}


def test_what_was_typed_on_the_other_side_is_recorded_with_it(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/look/")
    page.goto(f"{address}row/arm_blood_pressure/")
    row = "#row-arm_blood_pressure"
    page.fill(f"{row} .right input[name='vital.number']", "1280")
    page.fill(f"{row} .left input[name='vital.number']", "126")
    assert hand.save(f"{row} .left .record") == 422
    expect(page.locator(f"{row} .item [data-error]")).to_contain_text('got "1280"')
    assert hand.file(address).findings == ()
    assert page.input_value(f"{row} .left input[name='vital.number']") == "126"
    page.fill(f"{row} .right input[name='vital.number']", "128")
    assert hand.save(f"{row} .left .record") == 200
    found = {f.side: f.value.number for f in hand.file(address).findings}
    assert found == {"left": 126, "right": 128}
    hand.save("#head form[data-touch] button")
    assert hand.file(address).findings == ()


def test_lost_network_is_said_and_nothing_looks_saved(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/feel/")
    page.context.set_offline(True)
    said = page.locator("[role=status]", has_text=re.compile("kept on this device|Not saved"))
    hand.tap("#row-coracoid_tenderness .left .chip:text-is('2')")
    expect(said.first).to_be_visible()
    expect(page.locator("#row-coracoid_tenderness .left .phrase")).to_have_count(0)
    assert hand.file(address).findings == ()


def test_two_tablets_make_a_conflict_that_a_person_settles(open_page: Any, site: str) -> None:
    one = Hand(open_page(), site)
    address = one.begin(next(CODES))
    two = Hand(open_page(), site)
    for hand in (one, two):
        hand.page.goto(f"{address}stage/feel/")
    row = "#row-coracoid_tenderness .left"
    one.save(f"{row} .chip:text-is('2')")
    two.save(f"{row} .chip:text-is('none')")
    expect(two.page.locator(f"{row} .phrase")).to_contain_text("CONFLICT")
    two.save(f"{row} .keep >> nth=0")
    record = two.file(address)
    assert not record.conflicts
    assert record.findings[0].value.grade == 2


def test_undo_takes_the_rest_of_a_stage_back_in_one_touch(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/power/")
    hand.save("#foot-power .sweep")
    # Four powers are essential, on both sides: raising, turning out, turning in, elbow flexion.
    assert len(hand.file(address).findings) == 8
    hand.save("#head form button")
    assert hand.file(address).findings == ()


def test_a_draft_is_signed_amended_and_the_old_revision_stays_readable(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/feel/")
    hand.save("#row-coracoid_tenderness .left .chip:text-is('3')")
    page.goto(f"{address}sign/")
    expect(page.locator("main")).to_contain_text("not examined")
    page.fill("#id_impression", "stiff and sore")
    page.click("button[name=sign]")
    page.click(".note-tools a:text-is('amend')")
    page.click("main button.main")
    expect(page.locator(".error").first).to_contain_text("Give the reason")
    page.fill("#id_reason", "side of the scar was missing")
    page.click("main button.main")
    page.goto(f"{address}stage/feel/")
    hand.save("#row-coracoid_tenderness .left .chip:text-is('1')")
    page.goto(f"{address}note/")
    page.click("a:text-is('revision 1')")
    expect(page.locator(".note")).to_contain_text("withdraws")
    expect(page.locator(".note-tools")).to_contain_text("side of the scar was missing")


def test_hiding_the_meaning_lets_one_think_first(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    hand.begin(next(CODES))
    expect(page.locator("#meaning-body")).to_contain_text("rotator cuff")
    page.locator("[data-meaning-toggle]").tap()
    expect(page.locator("#meaning-body")).to_be_hidden()
    page.reload()
    expect(page.locator("#meaning-body")).to_be_hidden()
    page.locator("[data-meaning-toggle]").tap()
    expect(page.locator("#meaning-body")).to_contain_text("rotator cuff")


def test_the_figure_opens_on_the_side_complained_of(open_page: Any, site: str) -> None:
    page = open_page(viewport={"width": 390, "height": 844})
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}figure/")
    expect(page.locator(".plate-title")).to_have_text("patient's LEFT, close by")
    names = [one.get_attribute("aria-label") for one in page.locator(".place-target").all()]
    assert len(names) == 15
    assert all(name.startswith("left ") for name in names)


def test_the_figure_records_what_is_touched_with_its_side(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}figure/")
    page.locator("#t-coracoid-left").tap()
    hand.save("#spot-coracoid_tenderness .chip:text-is('2')")
    target = page.locator("#t-coracoid-left")
    expect(target).to_have_attribute("aria-label", "left coracoid process: tender (2, winces)")
    expect(page.locator(".written")).to_contain_text("left coracoid process: tender (2, winces)")
    # One wedge for each grade, and L beside it.
    assert page.locator(".fig-sign").get_attribute("d").count("M") == 2
    expect(page.locator(".fig-letter")).to_have_text("L")
    found = hand.file(address).findings[0]
    assert (found.item, found.side, found.value.grade) == ("coracoid_tenderness", "left", 2)


def test_a_shoulder_of_the_whole_body_opens_close_by(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}figure/?view=front")
    zone = page.get_by_role("link", name="right shoulder, closer")
    box = zone.bounding_box()
    page.touchscreen.tap(box["x"] + box["width"] * 0.35, box["y"] + box["height"] * 0.35)
    expect(page.locator(".plate-title")).to_have_text("patient's RIGHT, close by")


def test_a_scar_is_drawn_with_the_finger_where_it_is(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}figure/?view=back&mark=scars")
    drawing = page.locator("svg[data-drawing]")
    drawing.evaluate("(it) => it.scrollIntoView()")
    box = drawing.bounding_box()
    at = [
        (box["x"] + box["width"] * (0.4 - 0.002 * n), box["y"] + box["height"] * (0.6 + 0.01 * n))
        for n in range(12)
    ]
    page.mouse.move(*at[0])
    page.mouse.down()
    for point in at[1:]:
        page.mouse.move(*point)
    with page.expect_response(lambda r: r.url.endswith("/touch/")):
        page.mouse.up()
    expect(page.locator(".written")).to_contain_text("left scars")
    value = hand.file(address).findings[0]
    assert (value.side, value.value.view) == ("left", "back")
    points = [tuple(map(int, pair.split(","))) for pair in value.value.drawn.split()]
    # Seen from behind the left is on the left of the page: x below 0 on the body's midline.
    assert all(x < 0 for x, _ in points)
    assert 2 <= len(points) <= 12
    assert points[0][1] < points[-1][1]
    stroke = page.locator(".fig-sign").bounding_box()
    assert stroke["x"] == pytest.approx(at[-1][0], abs=12)
    assert stroke["y"] == pytest.approx(at[0][1], abs=12)
    page.goto(f"{address}figure/?view=left close-up back")
    assert page.locator(".fig-sign").count() == 1
    page.goto(f"{address}figure/?view=front")
    assert page.locator(".fig-sign").count() == 0
    expect(page.locator(".written")).to_contain_text("left scars")


def test_a_line_is_drawn_from_place_to_place_by_keyboard(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}figure/?view=left close-up front&mark=scars")
    page.select_option("[data-line-from]", label="acromioclavicular joint")
    page.select_option("[data-line-to]", label="coracoid process")
    page.locator("[data-line-draw]").focus()
    with page.expect_response(lambda r: r.url.endswith("/touch/")):
        page.keyboard.press("Enter")
    value = hand.file(address).findings[0]
    assert (value.side, value.value.view) == ("left", "front")
    assert value.value.structure == "acromioclavicular joint"
    assert len(value.value.drawn.split()) == 2


WHOLE = ("front", "back", "right side", "left side")
CLOSE = ("close-up front", "close-up side", "close-up back", "raised armpit")


def test_every_place_of_the_figure_is_24_pixels_and_named(open_page: Any, site: str) -> None:
    page = open_page(viewport={"width": 390, "height": 844})
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    swept, rows = 0, 0
    for view in (*WHOLE, *(f"{side} {name}" for side in ("right", "left") for name in CLOSE)):
        page.goto(f"{address}figure/?view={view}")
        for target in page.locator(".place-target").all():
            box = target.bounding_box()
            assert min(box["width"], box["height"]) >= 24, (view, target.get_attribute("id"))
            name = target.get_attribute("aria-label")
            assert name.startswith(("left ", "right ", "breastbone:", "midline of the neck:"))
            swept += 1
        for row in page.locator(".place-list a").all():
            assert row.bounding_box()["height"] >= 44
            rows += 1
    print(swept, rows)
    assert swept >= 100
    assert rows >= swept - 6


def test_a_measured_movement_is_drawn_and_an_unmeasured_one_is_not(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/move/")
    expect(page.locator("#last-pose")).to_contain_text("once it has a number")
    assert page.locator("#last-pose use").count() == 0
    form = "#row-abduction .left .cell:has(.mode:text-is('active')) form.number"
    hand.fill(f"{form} input[name='angle.degrees']", "60")
    hand.save(f"{form} .record")
    expect(page.locator("#last-pose")).to_contain_text("left: active 60 degrees")
    expect(page.locator("#last-pose")).to_contain_text("right: active not examined")
    assert page.locator("#last-pose .fig-part-unmeasured").count() == 1
    sheets = {one.get_attribute("href") for one in page.locator("#last-pose use").all()}
    assert any("back-abduction-60.svg#over" in href for href in sheets)


def test_a_sheet_is_fetched_once_and_kept(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    asked: list[str] = []
    page.on("request", lambda r: asked.append(r.url) if r.url.endswith(".svg") else None)
    for _ in range(2):
        page.goto(f"{address}figure/?view=front")
        page.wait_for_load_state("networkidle")
    plates = [url for url in asked if "/sheets/" in url]
    sizes = page.evaluate(
        "performance.getEntriesByType('resource').filter(e => e.name.includes('/sheets/'))"
        ".map(e => e.transferSize)"
    )
    assert len(set(plates)) == 2
    assert sizes == [0, 0]


def test_layers_are_peeled_and_stay_peeled_after_a_touch(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}figure/")
    muscles = page.locator(".fig-layer-superficial").first
    expect(muscles).to_be_hidden()
    page.check(".peel-superficial")
    expect(muscles).to_be_visible()
    page.locator("#t-coracoid-left").tap()
    hand.save("#spot-coracoid_tenderness .chip:text-is('2')")
    expect(page.locator(".written")).to_contain_text("left coracoid process")
    expect(page.locator(".fig-layer-superficial").first).to_be_visible()


def test_what_lies_under_the_finger_is_named_with_its_nerve(open_page: Any, site: str) -> None:
    page = open_page()
    page.goto(f"{site}/anatomy/shoulder/?view=left close-up side&layer=superficial&layer=bones")
    page.wait_for_load_state("networkidle")
    box = page.locator(".fig").bounding_box()
    page.mouse.click(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5)
    expect(page.locator("[data-under]")).to_have_text(
        "left deltoid; from: outer third of the clavicle, acromion, spine of the scapula; "
        "to: deltoid tuberosity of the humerus; nerve: axillary nerve (C5, C6)."
    )
    page.uncheck(".peel-superficial")
    page.evaluate(
        """() => {
        const shaft = [...document.querySelectorAll("use[data-structure='humerus']")].at(-1);
        shaft.dispatchEvent(new MouseEvent("click", { bubbles: true })); }"""
    )
    expect(page.locator("[data-under]")).to_contain_text("left humerus; muscles: deltoid")
    page.get_by_role("button", name="biceps", exact=True).click()
    expect(page.locator("[data-under]")).to_contain_text("musculocutaneous nerve (C5, C6)")
