"""A hand at the bedside: every touch is counted, and every touch waits until it is saved."""

from __future__ import annotations

import json
from typing import Any

from sidewise.record import Record, parse_record
from tests.shoulder import REGIONS

SAVED = "/touch/"


class Hand:
    """Touches one page. `touches` counts taps and keys of the on-screen keypad; not scrolling."""

    def __init__(self, page: Any, site: str) -> None:
        self.page = page
        self.site = site
        self.touches = 0

    def tap(self, selector: str) -> None:
        """One touch, and one more where its row has to be opened first."""
        self.unfold(selector)
        self.touches += 1
        self.page.locator(selector).first.tap()

    def unfold(self, selector: str) -> None:
        """Open the closed row of what is to be touched, if it is not there to be touched yet."""
        row = selector.split()[0]
        if not row.startswith("#row-") or self.page.locator(selector).count():
            return
        opener = self.page.locator(f"{row}.closed [data-opens]").last
        if opener.count():
            self.touches += 1
            opener.tap()

    def fill(self, selector: str, text: str) -> None:
        """Fill a field of a row, opened if need be; counted by nobody."""
        self.unfold(selector)
        self.page.fill(selector, text)

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
        page.check("input[name=sex][value=female]")
        page.check("input[name=dominant][value=right]")
        page.select_option("#id_setting", "primary")
        page.check(f"input[name=complaint][value={complaint}]")
        page.click("main button.main")
        page.wait_for_url("**/history/**")
        address: str = page.url.split("history/")[0]
        return address

    def file(self, address: str) -> Record:
        """The record as its file gives it back."""
        text = self.page.request.get(f"{address}file/").text()
        assert json.loads(text)["format"] == "sidewise-examination/1"
        return parse_record(text, REGIONS)
