"""A raised flag stays in sight wherever one has scrolled, on every size, and is said aloud."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.hand import Hand

SIZES = {"phone": (390, 844), "tablet, upright": (820, 1180), "laptop": (1366, 768)}


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_a_raised_emergency_is_said_and_stays_in_sight(
    open_page: Any, site: str, size: str
) -> None:
    page = open_page()
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    hand = Hand(page, site)
    address = hand.begin(f"SANDPIPER-{width}")
    page.goto(f"{address}history/")
    hand.save("#q-fever button:text-is('yes')")
    page.goto(f"{address}stage/feel/")
    expect(page.locator("[data-alarm]")).not_to_contain_text("hot, swollen joint")
    hand.save("#row-warmth .left .chip:text-is('hot')")
    expect(page.locator("#notice")).to_contain_text("RAISED, emergency: hot, swollen joint")
    page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
    alarm = page.locator("[data-alarm] a")
    expect(alarm).to_be_in_viewport()
    expect(alarm).to_contain_text("RAISED, emergency: hot, swollen joint")
    box = alarm.bounding_box()
    assert box is not None
    assert box["y"] >= 0
    # Nothing lies over it: what is hit at its middle is the alarm itself.
    assert page.evaluate(
        "([x, y]) => Boolean(document.elementFromPoint(x, y)?.closest('[data-alarm]'))",
        [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2],
    )
    alarm.click()
    expect(page.locator("#flags .flag").first).to_be_in_viewport()
