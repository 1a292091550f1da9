"""Done and planned as a person does it: an injection on a phone, its side twice, and taken back."""

from __future__ import annotations

from itertools import count
from typing import Any

import pytest

pytest.importorskip("playwright.sync_api")
from playwright.sync_api import expect

from tests.browser.hand import Hand

pytestmark = pytest.mark.browser
CODES = (f"SANDERLING-{number}" for number in count(1))
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
FORM = "#care-injection"


def _fill_injection(page: Any) -> None:
    page.locator(f"{FORM} summary").tap()
    for name, text in (("substance_1", "triamcinolone"), ("dose_1", "40")):
        page.fill(f"{FORM} [name='injection-{name}']", text)
    chosen = {"side": "left", "unit_1": "mg", "place": "below the acromion", "allergy": "no",
              "blood_thinner": "no", "diabetes": "no", "infection": "no"}  # fmt: skip
    for name, value in chosen.items():
        page.select_option(f"{FORM} [name='injection-{name}']", value)
    page.check(f"{FORM} [name='injection-consent']")


def test_an_injection_is_recorded_on_a_phone_and_taken_back(open_page: Any, site: str) -> None:
    page = open_page(**PHONE)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}care/")
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    _fill_injection(page)
    page.select_option(f"{FORM} [name='injection-side_again']", "right")
    page.locator(f"{FORM} button.main").tap()
    expect(page.locator(f"{FORM} .error").first).to_contain_text("the same side twice")
    # What was typed is still there; only the side is put right.
    page.select_option(f"{FORM} [name='injection-side_again']", "left")
    page.locator(f"{FORM} button.main").tap()
    expect(page.locator("#care-list li")).to_have_count(1)
    expect(page.locator("#care-list li")).to_contain_text("the patient's LEFT side")
    (given,) = hand.file(address).care
    assert (given.kind, given.side, given.side_again) == ("injection", "left", "left")
    hand.save("#head form[data-touch] button")
    expect(page.locator("#care-list li")).to_have_count(0)
    assert hand.file(address).care == ()


def test_scores_are_recorded_and_a_reduced_range_beside_them(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}care/")
    page.fill("#scores [name='pain_night_0_10']", "7")
    page.locator("#scores button").tap()
    expect(page.locator("#scores [name='pain_night_0_10']")).to_have_value("7.0")
    page.goto(f"{address}item/flexion/")
    form = "form[data-touch]:has(input[name=places][value='flexion left active'])"
    assert hand.save(f"{form} .chip:text-is('about half')") == 200
    file = hand.file(address)
    assert file.context.scales == {"pain_night_0_10": 7}
    assert [f.value.kind for f in file.findings] == ["reduced_by_eye"]


def _until_kept(page: Any, count: int) -> None:
    words = "1 entry is kept" if count == 1 else f"{count} entries are kept"
    expect(page.locator("#waiting [role=status]")).to_contain_text(words)


def test_without_network_an_injection_and_scores_wait_and_arrive_once(
    open_page: Any, site: str
) -> None:
    page = open_page(**PHONE)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}care/")
    page.wait_for_function("navigator.serviceWorker?.controller")
    page.evaluate("document.dispatchEvent(new CustomEvent('at-rest'))")
    page.wait_for_load_state("networkidle")
    page.context.set_offline(True)
    # Half a form is not kept: what is missing is said while the patient is still there.
    page.locator(f"{FORM} summary").tap()
    page.locator(f"{FORM} button.main").tap()
    expect(page.locator(f"{FORM} [name='injection-side']")).to_be_focused()
    expect(page.locator("#waiting")).to_be_hidden()
    page.locator(f"{FORM} summary").tap()
    _fill_injection(page)
    page.select_option(f"{FORM} [name='injection-side_again']", "right")
    page.locator(f"{FORM} button.main").tap()
    expect(page.locator(f"{FORM} [data-said]")).to_contain_text("not given the same twice")
    expect(page.locator("#waiting")).to_be_hidden()
    page.select_option(f"{FORM} [name='injection-side_again']", "left")
    page.locator(f"{FORM} button.main").tap()
    _until_kept(page, 1)
    expect(page.locator(f"{FORM} [data-said]")).to_contain_text("kept on this device, encrypted")
    expect(page.locator("#waiting")).to_contain_text("injection: left, triamcinolone, 40, mg")
    expect(page.locator(f"{FORM} [name='injection-dose_1']")).to_have_value("")
    page.fill("#scores [name='pain_night_0_10']", "7")
    page.locator("#scores button").tap()
    _until_kept(page, 2)
    expect(page.locator("#scores .waits")).to_have_text("7: waiting, not sent yet")
    # Nothing looks recorded that is not.
    expect(page.locator("#care-list li")).to_have_count(0)

    page.context.set_offline(False)
    expect(page.locator("#care-list li")).to_contain_text("LEFT side", timeout=30_000)
    expect(page.locator("#waiting")).to_be_hidden()
    file = hand.file(address)
    assert [(entry.kind, entry.side) for entry in file.care] == [("injection", "left")]
    assert file.context.scales == {"pain_night_0_10": 7}


def test_an_injection_whose_answer_was_lost_is_recorded_once(open_page: Any, site: str) -> None:
    page = open_page(**PHONE)
    hand = Hand(page, site)
    address = hand.begin(next(CODES))
    page.goto(f"{address}care/")
    page.wait_for_load_state("networkidle")

    def deliver_and_lose(route: Any) -> None:
        route.fetch()
        route.abort()

    _fill_injection(page)
    page.select_option(f"{FORM} [name='injection-side_again']", "left")
    page.route("**/care/", deliver_and_lose)
    page.locator(f"{FORM} button.main").tap()
    # It may have arrived or not: the device cannot know, keeps it, and the server counts it once.
    expect(page.locator(f"{FORM} [data-said]")).to_contain_text("Not confirmed: no answer came")
    page.unroute("**/care/")
    expect(page.locator("#care-list li")).to_have_count(1, timeout=30_000)
    assert len(hand.file(address).care) == 1
