"""A hand at the bedside: every touch is counted, and every touch waits until it is saved."""

from __future__ import annotations

import json
from typing import Any

from sidewise.record import Record, parse_record

SAVED = "/touch/"


class Hand:
    """Touches one page. `touches` counts taps and keys of the on-screen keypad; not scrolling."""

    def __init__(self, page: Any, site: str) -> None:
        self.page = page
        self.site = site
        self.touches = 0

    def tap(self, selector: str) -> None:
        """One touch."""
        self.touches += 1
        self.page.locator(selector).first.tap()

    def save(self, selector: str) -> int:
        """One touch that records; waits for the answer and returns its status."""
        with self.page.expect_response(lambda r: r.url.endswith(SAVED)) as answer:
            self.tap(selector)
        status: int = answer.value.status
        self.settled()
        return status

    def settled(self) -> None:
        """Wait until the answer stands on the page."""
        from playwright.sync_api import expect

        expect(self.page.locator("[aria-busy=true]")).to_have_count(0)

    def type(self, selector: str, text: str) -> None:
        """One touch to reach a field, then one for each key."""
        self.tap(selector)
        field = self.page.locator(selector).first
        field.press("Control+a")
        self.touches += len(text)
        field.press_sequentially(text)

    def begin(self, code: str, *, complaint: str = "left") -> str:
        """A new patient and examination; returns the address of the examination."""
        page = self.page
        page.goto(f"{self.site}/patients/new/")
        page.fill("#id_code", code)
        page.click("main button.main")
        page.fill("#id_age", "58")
        page.select_option("#id_sex", "female")
        page.select_option("#id_dominant", "right")
        page.select_option("#id_setting", "primary")
        page.check(f"input[name=complaint][value={complaint}]")
        page.click("main button.main")
        page.wait_for_url("**/stage/prepare/")
        address: str = page.url.split("stage/")[0]
        return address

    def file(self, address: str) -> Record:
        """The record as its file gives it back."""
        text = self.page.request.get(f"{address}file/").text()
        assert json.loads(text)["format"] == "sidewise-examination/1"
        return parse_record(text)
