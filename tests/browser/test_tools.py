"""The tilt tool and the photograph where they are used: beside the movement, on either side."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.hand import Hand

pytestmark = pytest.mark.browser

CODES = (f"CURLEW-{number}" for number in itertools.count(300))
UPRIGHT = {"beta": -90, "gamma": 0}
"""A phone whose top looks straight down: along a forearm that points at the ceiling."""
PLACE = "form.number:has(input[name=places][value='external_rotation_at_side {} passive'])"


def _box(page: Any, selector: str) -> dict[str, float]:
    found: dict[str, float] = page.locator(selector).first.bounding_box()
    return found


def test_neutral_rotation_reads_zero_and_neither_tool_covers_the_other_side(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}item/external_rotation_at_side/")
    for side in ("right", "left"):
        form = PLACE.format(side)
        tools = f"{form} + details"
        page.click(f"{tools} summary")
        expect(page.locator(tools)).to_contain_text("The patient on the back")
        page.click(f"{tools} button:text-is('Use the tilt sensor')")
        page.evaluate(
            """(angles) => window.dispatchEvent(
            new DeviceOrientationEvent("deviceorientation", { alpha: 0, ...angles }))""",
            UPRIGHT,
        )
        page.click(f"{tools} button:text-is('Take reading')")
        expect(page.locator(f"{form} [name='angle.degrees']")).to_have_value("0")
        assert hand.save(f"{form} .record") == 200
        page.goto(f"{address}item/external_rotation_at_side/")
    found = {f.side: f.value.degrees for f in hand.file(address).findings}
    assert found == {"right": 0, "left": 0}
    for side in ("right", "left"):
        page.click(f"{PLACE.format(side)} + details summary")
    right = _box(page, f"{PLACE.format('right')} + details")
    left = _box(page, f"{PLACE.format('left')} + details")
    assert right["x"] + right["width"] <= left["x"]
    for side, box in (("right", right), ("left", left)):
        inside = page.locator(f"{PLACE.format(side)} + details :visible")
        for number in range(inside.count()):
            part = inside.nth(number).bounding_box()
            assert part["x"] + part["width"] <= box["x"] + box["width"] + 1
