"""Faults once found by walking the pages, each looked for again where it was seen."""

from __future__ import annotations

import io
import itertools
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import serve, sign_in
from tests.browser.hand import Hand
from tests.shoulder import PROTOCOL

pytestmark = pytest.mark.browser

CODES = (f"WHIMBREL-{number}" for number in itertools.count(1))
EXAMPLES = Path(__file__).parents[2] / "examples"
SIZES = ((1024, 768), (820, 1180), (390, 844), (1366, 768))
BROKEN = """() => {
  const broken = [];
  for (const heading of document.querySelectorAll('.row h4, .row h4 a')) {
    for (const node of heading.childNodes) {
      if (node.nodeType !== Node.TEXT_NODE) continue;
      for (const found of node.data.matchAll(/[\\p{L}]+/gu)) {
        const range = document.createRange();
        range.setStart(node, found.index);
        range.setEnd(node, found.index + found[0].length);
        const lines = new Set([...range.getClientRects()].map(box => Math.round(box.top)));
        if (lines.size > 1) broken.push(found[0]);
      }
    }
  }
  return broken;
}"""
"""Words of the names of items that stand on two lines. A hyphen is a place to break at."""


def test_no_name_of_an_item_is_broken_inside_a_word(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    address, swept = hand.begin(next(CODES)), 0
    for stage in PROTOCOL.stages:
        hand.page.goto(f"{address}stage/{stage.slug}/")
        for width, height in SIZES:
            hand.page.set_viewport_size({"width": width, "height": height})
            assert hand.page.evaluate(BROKEN) == [], (stage.slug, width)
            swept += hand.page.locator(".row h4").count()
    assert swept > 4 * 60
    # The look itself is looked at: a column too narrow for a word breaks it.
    narrow = """document.querySelectorAll('.row h4').forEach(heading => {
      heading.style.cssText = 'flex: none; width: 40px; overflow-wrap: anywhere'; })"""
    hand.page.evaluate(narrow)
    assert hand.page.evaluate(BROKEN) != []


def test_the_longest_code_widens_no_page_and_hides_neither_side_nor_sign(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin("W" * 60)
    wide = "document.documentElement.scrollWidth - window.innerWidth"
    for width, height in (*SIZES, (320, 640)):
        page.set_viewport_size({"width": width, "height": height})
        for part in ("stage/feel/", "note/", "sign/", "care/"):
            page.goto(f"{address}{part}")
            assert page.evaluate(wide) <= 0, (part, width)
        page.goto(f"{address}stage/feel/")
        for what in ("left side", "sign"):
            box = page.locator("#head").get_by_text(what, exact=True).bounding_box()
            hit = "([x, y, t]) => document.elementFromPoint(x, y)?.textContent.trim() === t"
            middle = [box["x"] + box["width"] / 2, box["y"] + box["height"] / 2, what]
            assert page.evaluate(hit, middle), (what, width)
        page.goto(f"{site}/patients/")
        assert page.evaluate(wide) <= 0, width
    # Afterwards short codes again: the next one counts on from the last.
    hand.begin(next(CODES))


def test_the_chart_of_the_course_is_dark_in_the_dark(chromium: Any) -> None:
    from matplotlib.image import imread

    with contextmanager(serve)(WITH_EXAMPLES=str(EXAMPLES)) as site:
        kept, light = sign_in(chromium, site, "owner"), {}
        for scheme in ("dark", "light"):
            context = chromium.new_context(storage_state=kept, color_scheme=scheme)
            page = context.new_page()
            page.goto(f"{site}/patients/")
            page.click("text=HERON-1")
            picture = page.locator("img.course")
            picture.scroll_into_view_if_needed()
            page.wait_for_load_state("networkidle")
            expect(picture).to_be_visible()
            light[scheme] = float(imread(io.BytesIO(picture.screenshot()))[..., :3].mean())
            context.close()
    # Mean of all dots, 0 black to 1 white: the background is most of the chart.
    assert light["dark"] < 0.3
    assert light["light"] > 0.7
