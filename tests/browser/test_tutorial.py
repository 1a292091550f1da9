"""The tutorial of a first examination, as it stands: its bold words are touched in turn."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.conftest import serve

pytestmark = [pytest.mark.browser, pytest.mark.slow]

TUTORIAL = Path(__file__).parents[2] / "docs" / "tutorial-examination.md"
WAIT_MS = 40_000


def bold() -> list[str]:
    """The words in bold, in their order, after the sentence that explains them."""
    text = TUTORIAL.read_text(encoding="utf-8").split("## 2.")[1]
    return [" ".join(words.split()) for words in re.findall(r"\*\*(.+?)\*\*", text, re.S)]


def line() -> str:
    """The line that is typed."""
    return re.findall(r"```text\n(.+)\n```", TUTORIAL.read_text(encoding="utf-8"))[0]


@pytest.fixture
def weighing_site() -> Iterator[str]:
    yield from serve(REAL_WEIGHING="1")


class Follower:
    """Does what each word in bold says, and remembers which were done."""

    def __init__(self, page: Any) -> None:
        self.page = page
        self.done: list[str] = []

    def touch(self, words: str, place: str = "main") -> None:
        self.done.append(words)
        named = re.compile(rf"^\s*{re.escape(words)}", re.I)
        shown = self.page.locator(f"{place} :is(button, a, summary, label)", has_text=named)
        shown.first.click()

    def read(self, words: str, place: str = "main") -> None:
        self.done.append(words)
        expect(self.page.locator(place).first).to_contain_text(re.compile(re.escape(words), re.I))


def test_the_tutorial_can_be_followed_word_for_word(chromium: Any, weighing_site: str) -> None:
    from tests.browser.conftest import TABLET, sign_in

    state = sign_in(chromium, weighing_site, "owner")
    context = chromium.new_context(storage_state=state, **TABLET)
    context.set_default_timeout(WAIT_MS)
    expect.set_options(timeout=WAIT_MS)
    page = context.new_page()
    hand = Follower(page)
    page.goto(weighing_site)

    hand.touch("New patient")
    page.fill("#id_code", "PLOVER-9")
    hand.touch("Add the patient and begin an examination")
    page.fill("#id_age", "58")
    hand.touch("woman")
    hand.touch("right")
    hand.touch("patient's left")
    page.select_option("#id_setting", label="primary care")
    page.get_by_label("Onset").select_option(label="gradual")
    page.get_by_label("Duration, weeks").fill("14")
    page.get_by_label("Pain, 0 to 10").fill("6")
    hand.touch("Begin")
    page.wait_for_url("**/history/**")

    hand.read("pain at night")
    hand.done.append("yes")
    page.locator("#q-night_pain button:text-is('yes')").click()
    expect(page.locator("#q-night_pain button[aria-pressed=true]")).to_have_text("yes")
    hand.touch("Asked, and none of the other 9")
    expect(page.locator("#strip a", has_text="history")).to_contain_text("10/10")

    hand.touch("move", "#strip")
    page.wait_for_url("**/stage/move/")
    # The first look at a patient is weighed meanwhile; a reader of the tutorial is slower.
    expect(page.locator("main")).to_contain_text(re.compile("would tell most next", re.I))
    hand.touch("type a line")
    page.fill("#typed-line", line())
    hand.touch("read it")
    expect(page.locator("main")).to_contain_text("15")
    hand.touch("record these")
    page.wait_for_url("**/stage/move/**")

    hand.read("What it may mean")
    meaning = page.locator("main")
    expect(meaning).to_contain_text(re.compile("frozen shoulder", re.I))
    hand.read("not looked at or asked yet", "body")
    hand.read("Would tell most next")

    hand.touch("note", "#strip")
    page.wait_for_url("**/note/**")
    hand.done.append("sign")
    page.locator("a:text-is('sign')").first.click()
    page.wait_for_url("**/sign/**")
    hand.touch("sign this revision")
    expect(page.locator("body")).to_contain_text("signed")
    assert hand.done == bold()
