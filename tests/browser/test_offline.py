"""An examination goes on without network: rows say what waits, stages open, it comes back."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.hand import Hand

pytestmark = pytest.mark.browser

CODES = (f"GODWIT-{number}" for number in itertools.count(400))
TENDER = "#row-coracoid_tenderness .left"
STRIP = "#strip a[href$='stage/{}/']"


def _ready(page: Any) -> None:
    """Until the page has its key and its stages: at once, not when it has lain open a while."""
    page.wait_for_function("navigator.serviceWorker?.controller")
    with page.expect_response(lambda r: "stage/look/?part=1" in r.url):
        page.evaluate("document.dispatchEvent(new CustomEvent('at-rest'))")


def test_without_network_rows_say_what_waits_stages_open_and_it_comes_back(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}stage/feel/")
    _ready(page)
    page.context.set_offline(True)

    hand.tap(f"{TENDER} .chip:text-is('2')")
    expect(page.locator(f"{TENDER} .waits")).to_have_text("2: waiting, not sent yet")
    expect(page.locator(f"{TENDER} .phrase")).to_have_count(0)

    page.click(STRIP.format("look"))
    expect(page.locator("h2#title-look")).to_be_visible()
    expect(page.locator(".without-network")).to_contain_text("What you touch waits")
    hand.tap("#row-acj_step .right .chip:text-is('slight')")
    expect(page.locator("#row-acj_step .right .waits")).to_contain_text("slight: waiting")

    page.click(STRIP.format("close"))
    expect(page.locator(".without-network")).to_contain_text("opens by itself")
    page.click(STRIP.format("feel"))
    expect(page.locator(f"{TENDER} .waits")).to_have_count(1)

    page.context.set_offline(False)
    expect(page.locator(f"{TENDER} .phrase")).to_be_visible(timeout=30_000)
    expect(page.locator(".waits")).to_have_count(0)
    assert {f.item for f in hand.file(address).findings} == {"coracoid_tenderness", "acj_step"}


def test_a_page_asked_for_without_network_opens_by_itself_when_it_is_back(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.wait_for_function("navigator.serviceWorker?.controller")
    worker = page.context.service_workers[0]
    worker.evaluate("() => { self.really = self.fetch; self.fetch = () => Promise.reject(); }")
    page.goto(f"{address}stage/neck/")
    expect(page.locator("h1")).to_have_text("Reconnect to see")
    size = "getComputedStyle(document.querySelector('main')).maxWidth"
    assert page.evaluate(size) != "none"
    worker.evaluate("() => { self.fetch = self.really; }")
    expect(page.locator("h2#title-neck")).to_be_visible(timeout=30_000)


def test_what_another_device_recorded_is_shown_without_a_reload_by_hand(
    open_page: Any, site: str
) -> None:
    one, two = Hand(open_page(), site), Hand(open_page(), site)
    address = one.begin(next(CODES))
    for hand in (one, two):
        hand.page.goto(f"{address}stage/feel/")
        hand.page.evaluate("document.dispatchEvent(new CustomEvent('at-rest'))")
    one.save(f"{TENDER} .chip:text-is('2')")
    two.save(f"{TENDER} .chip:text-is('none')")
    for hand in (one, two):
        phrase = hand.page.locator(f"{TENDER} .phrase")
        expect(phrase).to_contain_text("CONFLICT", timeout=60_000)
