"""Takes the pictures of the user guide: `python -m tests.browser.take_pictures`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tests.browser.conftest import TABLET, serve, sign_in
from tests.browser.hand import Hand
from tests.setup_browser import FLAGS, find_browser

ROOT = Path(__file__).parents[2]
PICTURES = ROOT / "docs" / "images"
WEIGHED_MS = 20_000


def main() -> None:
    """Serve the invented clinic, examine one patient, and take the pictures."""
    from playwright.sync_api import sync_playwright

    for site in serve(REAL_WEIGHING="1", WITH_EXAMPLES=str(ROOT / "examples")):
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=find_browser(), args=list(FLAGS))
            kept = sign_in(browser, site, "owner")
            tablet = browser.new_context(storage_state=kept, **TABLET)
            hand = Hand(tablet.new_page(), site)
            address = hand.begin("REDSHANK-12")
            examine(hand, address)
            tablet_pictures(hand, address)
            phone = {"viewport": {"width": 390, "height": 780}, "color_scheme": "dark"}
            page = browser.new_context(storage_state=kept, has_touch=True, **phone).new_page()
            page.goto(f"{address}stage/feel/")
            shoot(page, "phone-dark")
            marks_pictures(browser, site)
            browser.close()


def examine(hand: Hand, address: str) -> None:
    """A stiff, sore left side."""
    page = hand.page
    page.goto(f"{address}history/")
    for question in ("fever", "weight_loss", "cancer", "injury", "exertion", "breathlessness"):
        with page.expect_response(lambda r: r.url.endswith("/touch/")):
            page.click(f"#q-{question} button[value=no]")
    with page.expect_response(lambda r: r.url.endswith("/touch/")):
        page.click("#q-night_pain button[value=yes]")
    page.goto(f"{address}stage/feel/")
    hand.save("#row-coracoid_tenderness .left .chip:text-is('2')")
    hand.save("#row-coracoid_tenderness .one-touch")
    hand.save("#row-acj_tenderness .one-touch")
    hand.save("#row-scj_tenderness .one-touch")
    page.goto(f"{address}stage/move/")
    hand.tap(".instrument .chip[value=goniometer]")
    angles = (("flexion", "left", "active", "95"), ("flexion", "right", "active", "168"),
              ("flexion", "left", "passive", "100"), ("flexion", "right", "passive", "172"),
              ("external_rotation_at_side", "left", "passive", "12"),
              ("external_rotation_at_side", "right", "passive", "60"))  # fmt: skip
    for item, side, mode, degrees in angles:
        cell = f"#row-{item} .{side} .cell:has(.mode:text-is('{mode}'))"
        form = f"{cell} form.number"
        hand.unfold(form)
        # A passive number that nothing called for waits one touch further.
        if not page.locator(form).first.is_visible():
            page.locator(f"{cell} details.further summary").first.click()
        hand.fill(f"{form} input[name='angle.degrees']", degrees)
        hand.save(f"{form} .record")
    page.goto(f"{address}stage/special-tests/?open=drop_arm")
    hand.save("#row-neer .left .chip:text-is('+ pain')")
    hand.save("#row-neer .one-touch")
    hand.save("#row-drop_arm .one-touch")
    page.goto(f"{address}item/hawkins_kennedy/")
    form = "form.status:has(input[value='hawkins_kennedy left'])"
    page.fill(f"{form} input[name=reason]", "too stiff to reach the position")
    hand.save(f"{form} button:text-is('could not')")


def tablet_pictures(hand: Hand, address: str) -> None:
    """The pictures on a tablet."""
    page = hand.page
    for part, name in (("stage/special-tests/", "mirror"), ("stage/move/", "move"),
                       ("history/", "history")):  # fmt: skip
        page.goto(f"{address}{part}")
        page.wait_for_selector("#meaning-body .likely", timeout=WEIGHED_MS)
        shoot(page, name)
    page.goto(f"{address}stage/power/")
    page.wait_for_selector("#meaning-body .likely", timeout=WEIGHED_MS)
    page.locator("#foot-power").scroll_into_view_if_needed()
    shoot(page, "rest")
    page.goto(f"{address}figure/?view=left close-up front&spot=coracoid&side=left")
    page.wait_for_selector("#meaning-body .likely", timeout=WEIGHED_MS)
    shoot(page, "figure")
    page.goto(f"{address}figure/movement/")
    page.wait_for_selector("#meaning-body .likely", timeout=WEIGHED_MS)
    shoot(page, "movement")
    page.goto(f"{hand.site}/anatomy/shoulder/?item=apprehension&layer=deep&layer=bones")
    shoot(page, "anatomy")
    page.goto(f"{address}note/")
    shoot(page, "note")


def marks_pictures(browser: Any, site: str) -> None:
    """The pictures of the teacher's pages."""
    page = browser.new_context(storage_state=sign_in(browser, site, "teacher"), **TABLET).new_page()
    for title, name, ready in (
        ("kept it", "settle", "form button.main"), ("teaching week", "sitting", ".board"),
    ):  # fmt: skip
        page.goto(f"{site}/marks/")
        page.click(f".visits a:has-text('{title}')")
        page.wait_for_selector(ready, timeout=6 * WEIGHED_MS)
        shoot(page, name, "marks")


def shoot(page: Any, name: str, of: str = "bedside") -> None:
    """One picture, when the page is quiet."""
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(300)
    page.screenshot(path=PICTURES / f"{of}-{name}.png")


if __name__ == "__main__":
    main()
