"""A whole examination by touch on a tablet, counted; and by keyboard alone."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import expect

from sidewise.note.completeness import completeness, essential
from sidewise.protocol import Stage
from sidewise.web.examinations.widgets import is_alone
from tests.browser.hand import Hand
from tests.shoulder import PROTOCOL, SHOULDER

pytestmark = pytest.mark.browser

ESSENTIAL = [item for item in PROTOCOL.items if item.role == "essential"]
FLAGS = [item for item in PROTOCOL.items if item.role == "flag"]
MOST, MOST_ABNORMAL = 40, 85
MEANS = ("touch", "mouse", "keyboard")
CODES = (f"HERON-{number}" for number in itertools.count(100))
NONE, SINGLY, FOOT = "#none-of-these .sweep", "#row-{} .one-touch", "#foot-{} .sweep"


def _plan() -> Iterator[str]:
    """What is touched, in the order of the page, where everything is normal."""
    yield NONE
    for stage in PROTOCOL.stages:
        items = [i for i in PROTOCOL.items_of(stage) if i.role != "optional"]
        alone = [item for item in items if item.role == "flag" or is_alone(item)]
        yield from (SINGLY.format(item.id) for item in alone)
        if len(items) > len(alone):
            yield FOOT.format(stage.slug)


class Player:
    """Plays a plan by one means; counts what records, and every key that is pressed."""

    def __init__(self, hand: Hand, means: str) -> None:
        self.hand, self.page, self.means = hand, hand.page, means
        self.touches = self.keys = 0

    def press(self, key: str) -> None:
        self.keys += 1
        self.page.keyboard.press(key)

    def act(self, selector: str) -> None:
        """One touch that records; by keyboard only where the focus has come by itself."""
        self.touches += 1
        button = self.page.locator(selector)
        if self.means == "keyboard":
            expect(button).to_be_focused()
        else:
            button.scroll_into_view_if_needed()
        with self.page.expect_response(lambda r: r.url.endswith("/touch/")) as answer:
            match self.means:
                case "keyboard":
                    self.press("Enter")
                case "mouse":
                    button.click()
                case _:
                    button.tap()
        assert answer.value.status == 200
        self.hand.settled()

    def to_the_next_stage(self) -> None:
        """Reaching the foot brings the next stage under it: scrolling, no touch."""
        if self.means != "keyboard":
            self.page.mouse.wheel(0, 20_000)


@pytest.mark.parametrize("means", MEANS)
def test_a_full_normal_examination_takes_at_most_40_touches(
    open_page: Any, site: str, means: str
) -> None:
    """Both sides and the history; of keys also the two of Tab that lead to the first button."""
    hand = Hand(open_page(has_touch=means == "touch"), site)
    address = hand.begin(next(CODES))
    player = Player(hand, means)
    if means == "keyboard":
        for _ in range(2):
            player.press("Tab")
    for selector in _plan():
        if player.means != "keyboard" and not hand.page.locator(selector).count():
            player.to_the_next_stage()
        player.act(selector)
    record = hand.file(address)
    print(f"{means}: {player.touches} touches, {player.keys} keys")
    assert (len(ESSENTIAL), len(FLAGS)) == (59, 21)
    assert completeness(record, SHOULDER).missing == ()
    assert {item.id for item in FLAGS} <= {finding.item for finding in record.findings}
    # What screens a flag, a movement and what only the patient can say: each by its own touch.
    together = {finding.item for finding in record.findings if finding.together}
    assert together.isdisjoint(item.id for item in FLAGS)
    assert {"flexion", "pain_pointed"}.isdisjoint(together)
    assert len(record.context.history) == 10
    assert player.touches <= MOST
    assert player.keys <= MOST


def _through(hand: Hand, before: dict[str, Any]) -> None:
    """Every stage; `before` holds what is found in one before the rest of it is normal."""
    player = Player(hand, "touch")
    player.act(NONE)
    for stage in PROTOCOL.stages:
        if not hand.page.locator(f"#stage-{stage.slug}").count():
            player.to_the_next_stage()
            hand.page.wait_for_selector(f"#stage-{stage.slug}")
        found = before.get(stage.id)
        done = found(hand) if found else frozenset()
        for selector in _plan_of(stage):
            row = hand.page.locator(selector)
            if selector.partition(" ")[0].removeprefix("#row-") not in done and row.count():
                player.act(selector)
    hand.touches += player.touches


def _plan_of(stage: Stage) -> Iterator[str]:
    names = {item.id for item in PROTOCOL.items_of(stage)}
    for selector in _plan():
        if selector == FOOT.format(stage.slug) or selector[5:].partition(" ")[0] in names:
            yield selector


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


def test_an_abnormal_examination_takes_at_most_85(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    address = hand.begin(next(CODES))
    _through(hand, {"feel": _tender, "move": _stiff, "power": _weak, "special tests": _provoked})
    record = hand.file(address)
    abnormal = [
        f for f in record.findings if f.side == "left" and f.value and _is_abnormal(f.value)
    ]
    print(f"{hand.touches} touches with {len(abnormal)} abnormal findings")
    # What was found calls for more; what everybody needs is done.
    assert tuple(essential(completeness(record, SHOULDER).missing)) == ()
    assert len(abnormal) == 12
    assert hand.touches <= MOST_ABNORMAL


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


def _open(page: Any, selector: str) -> None:
    """Open a row from the side that is named, by keyboard."""
    _tab_to(page, selector)
    page.keyboard.press("Enter")


def test_an_angle_and_an_arc_by_keyboard_alone(open_page: Any, site: str) -> None:
    page = open_page(has_touch=False)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/move/")
    _open(page, "#row-flexion [data-opens=left]")
    _tab_to(page, "#row-flexion .left input[name='angle.degrees']", 160)
    page.keyboard.type("120")
    with page.expect_response(lambda r: r.url.endswith("/touch/")):
        page.keyboard.press("Enter")
    hand.settled()
    _open(page, "#row-painful_arc [data-opens=left]")
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
