"""Answers, with and without network, from one tablet and from two."""

from __future__ import annotations

from itertools import count
from typing import Any

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect

from tests.browser.hand import Hand

pytestmark = pytest.mark.browser
CODES = (f"TURNSTONE-{number}" for number in count(1))
FEVER = "#q-fever button[value='{}']"


def test_answers_without_network_wait_are_sent_and_can_be_undone(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}history/")
    # The key that seals what waits is fetched when the page opens; before it nothing is kept.
    page.wait_for_load_state("networkidle")
    expect(page.locator("#waiting")).to_be_hidden()
    page.context.set_offline(True)
    waiting = page.locator("#waiting li")
    hand.tap(FEVER.format("yes"))
    expect(waiting).to_have_text(["fever: yes"])
    hand.tap(FEVER.format("no"))
    expect(waiting).to_have_text(["fever: yes", "fever: no"])
    hand.tap("#q-cancer button[value='no']")
    page.fill("#id_temperature", "36.8")
    page.tap("#vitals button")
    expect(waiting).to_have_count(4)
    page.context.set_offline(False)
    expect(waiting).to_have_count(0, timeout=15_000)
    context = hand.file(address).context
    assert (context.history, context.vitals) == (
        {"fever": "no", "cancer": "no"},
        {"temperature": 36.8},
    )
    page.goto(f"{address}history/")
    expect(page.locator("#flags [data-dispute]")).to_have_count(0)
    hand.save("#head form[data-touch] button")
    assert hand.file(address).context.vitals == {}


def test_two_tablets_with_different_answers_show_it_and_one_is_kept(
    open_page: Any, site: str
) -> None:
    one = Hand(open_page(), site)
    address = one.begin(next(CODES))
    two = Hand(open_page(), site)
    for hand in (one, two):
        hand.page.goto(f"{address}history/")
    one.save(FEVER.format("yes"))
    two.save("#q-cancer button[value='no']")
    assert one.file(address).context.history == {"fever": "yes", "cancer": "no"}
    two.save(FEVER.format("no"))
    expect(two.page.locator("#q-fever .disputed")).to_contain_text("CONFLICT: yes")
    assert one.file(address).context.answer("fever") == "yes"
    two.save("#flags .keep:text-is('keep yes')")
    expect(two.page.locator("#q-fever button[value='yes']")).to_have_attribute(
        "aria-pressed", "true"
    )
    assert one.file(address).context.answer("fever") == "yes"


def test_a_quick_second_answer_takes_the_place_of_the_first(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}history/")
    page.evaluate(
        """() => { for (const word of ["yes", "no", "unsure"])
             document.querySelector(`#q-fever button[value=${word}]`).click(); }"""
    )
    expect(page.locator("#q-fever button[value='unsure']")).to_have_attribute(
        "aria-pressed", "true"
    )
    assert hand.file(address).context.answer("fever") == "unsure"


def test_age_is_saved_by_one_touch_and_nothing_changed_is_said(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}about/")
    hand.tap("#about button")
    expect(page.locator("#notice")).to_have_text("nothing was changed")
    page.fill("#id_age", "1650")
    assert hand.save("#about button") == 422
    expect(page.locator("#about [data-error]")).to_contain_text("age: got")
    page.fill("#id_age", "61")
    assert hand.save("#about button") == 200
    expect(page.locator("#head .who")).to_contain_text("61")
    assert hand.file(address).context.age == 61
