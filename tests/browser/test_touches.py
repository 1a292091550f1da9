"""A whole examination by touch on a tablet, counted; and by keyboard alone."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from playwright.sync_api import expect

from sidewise.note.completeness import completeness
from sidewise.protocol import Item, Stage, load_protocol
from sidewise.web.examinations.widgets import is_measured
from tests.browser.hand import Hand

pytestmark = pytest.mark.browser

PROTOCOL = load_protocol("shoulder")
ESSENTIAL = [item for item in PROTOCOL.items if item.role == "essential"]
FLAGS = [item for item in PROTOCOL.items if item.role == "flag"]
MOST_NORMAL, MOST_MORE = 80, 40
CODES = (f"HERON-{number}" for number in itertools.count(100))


def _slug(stage: Stage) -> str:
    return stage.value.replace(" ", "-")


def _singly(hand: Hand, item: Item) -> None:
    """Normal by its own touch; a pressure is typed on each side and both recorded together."""
    row = f"#row-{item.id}"
    hand.page.locator(row).scroll_into_view_if_needed()
    if item.id == "arm_blood_pressure":
        for side, figure in (("right", "128"), ("left", "126")):
            hand.type(f"{row} .{side} input[name='vital.number']", figure)
        assert hand.save(f"{row} .left .record") == 200
    elif item.id == "capillary_refill":
        assert hand.save(f"{row} .one-touch:text-is('2 s both sides')") == 200
    else:
        assert hand.save(f"{row} .one-touch, {row} .midline .chip.ok") == 200


def _rest(hand: Hand, stage: Stage, wanted: int) -> None:
    foot = f"#foot-{_slug(stage)}"
    hand.page.locator(f"{foot} a").scroll_into_view_if_needed()
    hand.tap(f"{foot} a")
    expect(hand.page.locator(f"{foot} li")).to_have_count(wanted)
    assert hand.save(f"{foot} form.rest button.main") == 200


def _stage(hand: Hand, stage: Stage, done: frozenset[str] = frozenset()) -> None:
    """One stage as a normal one, leaving alone what is `done`."""
    here = [item for item in PROTOCOL.items if item.stage == stage and item.role != "optional"]
    if not here:
        return
    hand.page.locator(f"#stage-{_slug(stage)}").scroll_into_view_if_needed()
    singly = [i for i in here if (i.role == "flag" or is_measured(i)) and i.id not in done]
    for item in singly:
        _singly(hand, item)
    rest = [i for i in here if i.role == "essential" and not is_measured(i)]
    if len(rest) == 1 and rest[0].id not in done:
        _singly(hand, rest[0])
    elif rest:
        _rest(hand, stage, len(rest))


def _through(hand: Hand, before: dict[Stage, Any] | None = None) -> None:
    """Every stage in order; `before` holds what is found there before the rest is normal."""
    stages = list(Stage)
    for number, stage in enumerate(stages):
        found = (before or {}).get(stage)
        _stage(hand, stage, found(hand) if found else frozenset())
        if number + 1 < len(stages):
            # Reaching the foot brings the next stage under it: scrolling, no touch.
            hand.page.mouse.wheel(0, 20_000)
            hand.page.wait_for_selector(f"#stage-{_slug(stages[number + 1])}")


def test_a_full_normal_examination_takes_at_most_80_touches(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    address = hand.begin(next(CODES))
    _through(hand)
    record = hand.file(address)
    print(f"{hand.touches} touches for {len(ESSENTIAL)} essential and {len(FLAGS)} flag items")
    assert (len(ESSENTIAL), len(FLAGS)) == (69, 46)
    assert completeness(record).missing == ()
    assert {item.id for item in FLAGS} <= {finding.item for finding in record.findings}
    assert hand.touches <= MOST_NORMAL


def _tender(hand: Hand) -> frozenset[str]:
    for name in ("coracoid", "gh_front", "groove"):
        assert hand.save(f"#row-{name}_tenderness .left .chip:text-is('2')") == 200
    return frozenset()


def _stiff(hand: Hand) -> frozenset[str]:
    """A stiff left side in degrees, the right full; returns the items that are done."""
    hand.tap(".instrument .chip[value=goniometer]")
    for item, active, passive in (("flexion", "95", "100"),
                                  ("external_rotation_at_side", "10", "15")):  # fmt: skip
        row = f"#row-{item}"
        for mode, degrees in (("active", active), ("passive", passive)):
            form = f"{row} .left .cell:has(.mode:text-is('{mode}')) form.number"
            hand.type(f"{form} input[name='angle.degrees']", degrees)
            assert hand.save(f"{form} .record") == 200
        assert hand.save(f"{row} .one-touch") == 200
    hand.type("#row-painful_arc .left input[name='arc.from']", "60")
    hand.type("#row-painful_arc .left input[name='arc.to']", "95")
    assert hand.save("#row-painful_arc .left .record") == 200
    assert hand.save("#row-painful_arc .one-touch") == 200
    return frozenset({"flexion", "external_rotation_at_side", "painful_arc"})


def _weak(hand: Hand) -> frozenset[str]:
    assert hand.save("#row-abduction_power .left .chip:text-is('4')") == 200
    assert hand.save("#row-abduction_power .left .chip:text-is('limited by pain')") == 200
    return frozenset()


def _provoked(hand: Hand) -> frozenset[str]:
    for name in ("neer", "hawkins_kennedy", "speed"):
        assert hand.save(f"#row-{name} .left .chip:text-is('+ pain')") == 200
    return frozenset()


def test_an_abnormal_examination_takes_at_most_40_more(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    address = hand.begin(next(CODES))
    _through(hand, {Stage.FEEL: _tender, Stage.MOVE: _stiff, Stage.POWER: _weak,
                    Stage.SPECIAL_TESTS: _provoked})  # fmt: skip
    record = hand.file(address)
    abnormal = [
        f for f in record.findings if f.side == "left" and f.value and _is_abnormal(f.value)
    ]
    print(f"{hand.touches} touches with {len(abnormal)} abnormal findings")
    assert completeness(record).missing == ()
    assert len(abnormal) == 12
    assert hand.touches <= MOST_NORMAL + MOST_MORE


def _is_abnormal(value: Any) -> bool:
    return (
        value.kind == "angle"
        or (value.kind == "arc" and not value.painless)
        or (value.kind == "tenderness" and value.grade > 0)
        or (value.kind == "mrc" and value.grade != "5")
        or (value.kind == "result" and value.result == "positive")
    )


def test_the_whole_of_a_stage_by_keyboard_alone(open_page: Any, site: str) -> None:
    page = open_page(has_touch=False)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/function/")
    done = 0
    while done < 3:
        _tab_to(page, ".one-touch")
        with page.expect_response(lambda r: r.url.endswith("/touch/")):
            page.keyboard.press("Enter")
        hand.settled()
        done += 1
    assert len(hand.file(address).findings) == 6


def _tab_to(page: Any, selector: str, most: int = 120) -> None:
    """Press Tab until the focus is on such an element, as a person would."""
    for _ in range(most):
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{selector} cannot be reached with the Tab key")


def test_an_angle_and_an_arc_by_keyboard_alone(open_page: Any, site: str) -> None:
    page = open_page(has_touch=False)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/move/")
    _tab_to(page, "#row-flexion .left input[name='angle.degrees']", 160)
    page.keyboard.type("120")
    with page.expect_response(lambda r: r.url.endswith("/touch/")):
        page.keyboard.press("Enter")
    hand.settled()
    _tab_to(page, "#row-painful_arc .left circle.handle", 300)
    for _ in range(2):
        page.keyboard.press("ArrowUp")
    page.keyboard.press("Tab")
    page.keyboard.press("ArrowDown")
    _tab_to(page, "#row-painful_arc .left .record")
    with page.expect_response(lambda r: r.url.endswith("/touch/")):
        page.keyboard.press("Enter")
    hand.settled()
    found = {finding.item: finding for finding in hand.file(address).findings}
    assert (found["flexion"].side, found["flexion"].value.degrees) == ("left", 120)
    arc = found["painful_arc"]
    assert (arc.side, arc.value.start, arc.value.end) == ("left", 70, 115)


def test_sign_by_keyboard_alone(open_page: Any, site: str) -> None:
    page = open_page(has_touch=False)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    _tab_to(page, ".doing a.main")
    page.keyboard.press("Enter")
    page.wait_for_url("**/sign/")
    _tab_to(page, "button[name=sign]")
    page.keyboard.press("Enter")
    page.wait_for_url("**/note/")
    assert hand.file(address).signed.by == "OWNER"
