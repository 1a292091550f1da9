"""The pages of marks: axe, the policy, widths, the dark, the keyboard alone, and a whole way."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import serve, sign_in

pytestmark = pytest.mark.browser

EXAMPLES = Path(__file__).parents[2] / "examples"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}
"""In the dark a page differs by its colours alone."""
ANALYSED_MS, ANSWERED_MS = 120_000, 40_000
OF_THE_WEEK = ("", "versions/1/report/", "versions/1/decisions/", "versions/1/letters/", "log/",
               "rules/", "settle/", "replace/", "accounts/", "tables/1/")  # fmt: skip
OF_THE_MESSY = ("settle/", "log/", "tables/1/")


@pytest.fixture(scope="module")
def room(chromium: Any) -> Iterator[dict[str, Any]]:
    """The invented sittings, served; the teaching week is analysed once."""
    with contextmanager(serve)(WITH_EXAMPLES=str(EXAMPLES)) as site:
        kept = sign_in(chromium, site, "teacher")
        context = chromium.new_context(storage_state=kept)
        page = context.new_page()
        page.goto(f"{site}/marks/")
        week = page.locator(".visits a", has_text="teaching week").get_attribute("href")
        messy = page.locator(".visits a", has_text="kept it").get_attribute("href")
        page.goto(f"{site}{week}")
        # It shows itself when it is done: nobody reloads.
        page.wait_for_selector(".board", timeout=ANALYSED_MS)
        page.wait_for_load_state("networkidle")
        assert page.evaluate("scrollY") == 0
        context.close()
        pages = [f"{site}/", f"{site}/marks/", *(f"{site}{week}{p}" for p in OF_THE_WEEK),
                 *(f"{site}{messy}{p}" for p in OF_THE_MESSY)]  # fmt: skip
        yield {"site": site, "kept": kept, "pages": pages, "week": week, "messy": messy}


def _page(chromium: Any, room: dict[str, Any], **options: Any) -> Any:
    context = chromium.new_context(storage_state=room["kept"], **options)
    context.set_default_timeout(30_000)
    return context.new_page()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_passes_axe_and_keeps_the_policy(
    chromium: Any, room: dict[str, Any], scheme: str
) -> None:
    page, axe, problems, broken = _page(chromium, room, color_scheme=scheme), Axe(), [], []
    page.on("console", lambda m: broken.append(m.text) if m.type == "error" else None)
    for address in room["pages"]:
        page.goto(address)
        page.wait_for_load_state("networkidle")
        found = axe.run(page, options=RULES if scheme == "light" else COLOURS)
        problems += [f"{address}: {v['id']} {[n['html'][:160] for n in v['nodes'][:2]]}"
                     for v in found.response["violations"]]  # fmt: skip
        assert page.locator("h1").count() == 1, address
    assert (problems, broken) == ([], [])
    assert len(room["pages"]) == 15


@pytest.mark.parametrize("width", [320, 390, 768])
def test_no_page_needs_sideways_scrolling(chromium: Any, room: dict[str, Any], width: int) -> None:
    page = _page(chromium, room, viewport={"width": width, "height": 800})
    for address in room["pages"]:
        page.goto(address)
        over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, address


def test_touch_targets_are_never_under_24_pixels(chromium: Any, room: dict[str, Any]) -> None:
    page, swept = _page(chromium, room, viewport={"width": 390, "height": 844}), 0
    for address in room["pages"]:
        page.goto(address)
        sizes = page.evaluate(
            """() => [...document.querySelectorAll('main a, main button, main summary, main input')]
            .filter(e => e.offsetParent && e.type !== 'hidden')
            .map(e => [e.getBoundingClientRect().height, e.outerHTML.slice(0, 120)])"""
        )
        assert [entry for entry in sizes if entry[0] < 23.5] == [], address
        swept += len(sizes)
    assert swept > 150


def test_a_sheet_is_dropped_settled_and_reported_with_the_keyboard_alone(
    chromium: Any, room: dict[str, Any], tmp_path: Path
) -> None:
    page = _page(chromium, room)
    page.goto(f"{room['site']}/marks/")
    page.focus("#id_title")
    page.keyboard.type("by keyboard")
    page.set_input_files("#id_sheet", EXAMPLES / "marks" / "telling" / "fraction_sheet.csv")
    page.focus("main button.main")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_contain_text("what was understood", timeout=ANSWERED_MS)
    expect(page.locator("main")).to_contain_text("12 students")
    page.focus("form button.main")
    page.keyboard.press("Enter")
    page.wait_for_selector(".board", timeout=ANALYSED_MS)
    expect(page.locator("h1")).to_have_text("by keyboard")


def test_a_bad_sheet_is_told_on_the_page_and_the_title_is_still_there(
    chromium: Any, room: dict[str, Any]
) -> None:
    page = _page(chromium, room)
    page.goto(f"{room['site']}/marks/")
    page.fill("#id_title", "a bad one")
    page.set_input_files("#id_sheet", EXAMPLES / "marks" / "broken" / "above_maximum_marks.csv")
    page.click("main button.main")
    alert = page.locator(".refusal[role=alert]")
    expect(alert).to_contain_text("above_maximum_marks.csv: row", timeout=ANSWERED_MS)
    expect(alert).to_contain_text("nothing of it was kept")
    expect(page.locator("#id_title")).to_have_value("a bad one")
    assert page.locator(".visits a", has_text="a bad one").count() == 0


def test_the_report_is_whole_without_the_page_around_it(
    chromium: Any, room: dict[str, Any]
) -> None:
    page = _page(chromium, room)
    page.goto(f"{room['site']}{room['week']}versions/1/report/")
    shown = page.locator(".report svg").count()
    with page.expect_download() as saved:
        page.click("text=Download the report")
    alone = chromium.new_context(offline=True).new_page()
    alone.goto(f"file://{saved.value.path()}")
    alone.set_content(Path(saved.value.path()).read_text(encoding="utf-8"))
    assert alone.locator(".report svg").count() == shown == 4
    assert alone.evaluate("getComputedStyle(document.querySelector('svg .curve')).fill") == "none"


def test_a_student_finds_what_there_is(chromium: Any, room: dict[str, Any]) -> None:
    kept = sign_in(chromium, room["site"], "student")
    page = chromium.new_context(storage_state=kept).new_page()
    page.goto(f"{room['site']}/")
    expect(page.locator("main")).to_contain_text("shown only when your teachers release them")
    assert Axe().run(page, options=RULES).response["violations"] == []
    page.click("main >> text=your account")
    expect(page.locator("h1")).to_have_text("Your account")
