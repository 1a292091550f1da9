"""The pages of practice and classes: axe, widths, targets, what is simulated says so, a case."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import expect

from tests.browser.conftest import serve, sign_in

pytestmark = [pytest.mark.browser, pytest.mark.slow]

RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast"]}}
"""In the dark a page differs by its colours alone."""
STAGES = ("history", "look", "feel", "move", "special-tests")
OF_ITS_PRACTICE = ("", "set/")
WAIT_MS = 60_000


@pytest.fixture(scope="module")
def school(chromium: Any) -> Iterator[dict[str, Any]]:
    """The invented class, served: student 1 has finished a case, student 4 has begun one."""
    with contextmanager(serve)(WITH_CLASS="1") as site:
        kept = {who: sign_in(chromium, site, who) for who in ("teacher", "student-1", "student-4")}
        yield {
            "site": site,
            "kept": kept,
            "teacher": _of_the_teacher(chromium, site, kept["teacher"]),
            "student-1": _of_one_done(chromium, site, kept["student-1"]),
            "student-4": _of_one_begun(chromium, site, kept["student-4"]),
        }


def _open(chromium: Any, kept: Any, **options: Any) -> Any:
    context = chromium.new_context(storage_state=kept, **options)
    context.set_default_timeout(WAIT_MS)
    return context.new_page()


def _of_the_teacher(chromium: Any, site: str, kept: Any) -> list[str]:
    page = _open(chromium, kept)
    page.goto(f"{site}/classes/")
    link = page.locator("main a[href^='/classes/']", has_text="teaching week").first
    one = link.get_attribute("href")
    key = one.strip("/").split("/")[-1]
    page.context.close()
    return [f"{site}/classes/", f"{site}/practice/cases/",
            f"{site}{one}",
            *(f"{site}/practice/class/{key}/{part}" for part in OF_ITS_PRACTICE)]  # fmt: skip


def _of_one_done(chromium: Any, site: str, kept: Any) -> list[str]:
    page = _open(chromium, kept)
    page.goto(f"{site}/practice/")
    address = page.locator("main a[href*='result']").first.get_attribute("href")
    page.context.close()
    return [f"{site}/", f"{site}/practice/", f"{site}{address}", f"{site}/practice/calibration/"]


def _of_one_begun(chromium: Any, site: str, kept: Any) -> list[str]:
    page = _open(chromium, kept)
    page.goto(f"{site}/practice/")
    shown = page.locator("main a").evaluate_all("all => all.map((one) => one.pathname)")
    address = next(a for a in shown if re.fullmatch(r"/practice/[0-9a-f-]{36}/", a))
    page.context.close()
    stages = (f"{site}{address}?stage={stage}" for stage in STAGES)
    return [f"{site}{address}", f"{site}{address}think/", *stages]


PEOPLE = {"teacher": 5, "student-1": 4, "student-4": 7}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("who", PEOPLE)
def test_every_page_passes_axe_and_keeps_the_policy(
    chromium: Any, school: dict[str, Any], who: str, scheme: str
) -> None:
    page, axe = _open(chromium, school["kept"][who], color_scheme=scheme), Axe()
    problems: list[str] = []
    page.on("console", lambda m: problems.append(m.text) if m.type == "error" else None)
    for address in school[who]:
        page.goto(address)
        found = axe.run(page, options=RULES if scheme == "light" else COLOURS)
        problems += [f"{address}: {v['id']} {[n['html'][:160] for n in v['nodes'][:2]]}"
                     for v in found.response["violations"]]  # fmt: skip
        assert page.locator("h1").count() == 1, address
    assert problems == []
    assert len(school[who]) == PEOPLE[who]


@pytest.mark.parametrize("who", PEOPLE)
def test_no_page_is_too_wide_heavy_or_small_to_touch(
    chromium: Any, school: dict[str, Any], who: str
) -> None:
    page = _open(chromium, school["kept"][who], viewport={"width": 320, "height": 800})
    for address in school[who]:
        page.goto(address)
        over = page.evaluate("document.documentElement.scrollWidth - window.innerWidth")
        assert over <= 0, address
        assert page.evaluate("document.querySelectorAll('*').length") <= 1_000, address
        small = page.evaluate(
            """() => [...document.querySelectorAll('main a, main button, main summary, main input')]
            .filter(e => e.offsetParent && e.type !== 'hidden' && !e.closest('p'))
            .map(e => [e.getBoundingClientRect().height, e.outerHTML.slice(0, 120)])
            .filter(([height]) => height < 23.5)"""
        )
        assert small == [], address


def test_what_is_simulated_says_so_on_every_page_and_in_print(
    chromium: Any, school: dict[str, Any]
) -> None:
    page = _open(chromium, school["kept"]["student-4"])
    for media in ("screen", "print"):
        page.emulate_media(media=media)
        for address in school["student-4"]:
            page.goto(address)
            mark = page.get_by_text("SIMULATED", exact=False).first
            expect(mark).to_be_visible()


def test_a_case_is_begun_and_examined_by_the_keyboard_alone(
    chromium: Any, school: dict[str, Any]
) -> None:
    page = _open(chromium, school["kept"]["student-4"])
    page.goto(f"{school['site']}/practice/")
    page.focus("main button.main")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile(r"/practice/[0-9a-f-]{36}/"))
    row = page.locator("#at-weight_loss")
    row.get_by_role("button").focus()
    page.keyboard.press("Enter")
    expect(row.locator(".told")).to_have_text(re.compile("Yes|No|not sure", re.I))
