"""The page is short and calm: what is counted on it, and faults once found by walking it."""

from __future__ import annotations

from typing import Any

import pytest
from playwright.sync_api import expect

from tests.browser.hand import Hand
from tests.shoulder import PROTOCOL

pytestmark = pytest.mark.browser

SIZES = {"tablet": (1024, 768, 12), "phone": (390, 844, 20)}
MOST_NODES = 1000
OWN_HEIGHT = """() => {
  const stage = document.querySelector("section.stage");
  const below = stage.querySelector(":scope > .following, :scope > section.stage");
  return (below ? below.getBoundingClientRect().top : stage.getBoundingClientRect().bottom)
    - stage.getBoundingClientRect().top;
}"""
FOCUS = (
    "() => document.activeElement.getAttribute('aria-label') ?? document.activeElement.textContent"
)


def sized(open_page: Any, name: str) -> Any:
    width, height, _ = SIZES[name]
    return open_page(viewport={"width": width, "height": height})


def test_a_new_patient_and_about_take_at_most_10_touches(open_page: Any, site: str) -> None:
    hand = Hand(open_page(), site)
    page = hand.page
    hand.begin("AVOCET-1")
    page.goto(f"{site}/")
    hand.touches = 0
    hand.tap("main a:text-is('New patient')")
    expect(page.locator("#id_code")).to_have_value("AVOCET-2")
    hand.tap("main button.main")
    page.wait_for_url("**/examine/")
    hand.type("#id_age", "61")
    for name, value in (("sex", "male"), ("dominant", "left"), ("complaint", "right")):
        hand.tap(f"label:has(input[name={name}][value={value}])")
    assert page.locator("#id_setting").input_value() == "primary"
    hand.tap("main button.main")
    page.wait_for_url("**/history/**")
    context = hand.file(page.url.split("history/")[0]).context
    assert (context.age, context.sex, context.dominant) == (61, "male", "left")
    assert (context.complaint, context.setting) == (("right",), "primary")
    print(f"{hand.touches} touches for a new patient and about")
    assert hand.touches <= 10


@pytest.mark.parametrize("name", SIZES)
def test_all_stages_blank_are_short_and_every_closed_row_is_44_pixels(
    open_page: Any, site: str, name: str
) -> None:
    page = sized(open_page, name)
    hand = Hand(page, site)
    address = hand.begin(f"KNOT-{SIZES[name][0]}")
    screen, most = SIZES[name][1:]
    total, rows, nodes = 0.0, 0, {}
    for stage in PROTOCOL.stages:
        page.goto(f"{address}stage/{stage.slug}/")
        total += page.evaluate(OWN_HEIGHT)
        nodes[stage.slug] = page.evaluate("document.querySelectorAll('*').length")
        rows += page.evaluate(
            """slug => [...document.querySelectorAll('.row.blank')]
            .filter(row => row.closest('section.stage').dataset.stage === slug).length""",
            stage.slug,
        )
        tall = page.evaluate(
            """[...document.querySelectorAll('.row.blank')].map(row => [row.id,
            row.getBoundingClientRect().height]).filter(([, height]) => height < 44)"""
        )
        assert tall == []
    one_line = page.evaluate(
        "Math.min(...[...document.querySelectorAll('.row.blank')]"
        ".map(row => row.getBoundingClientRect().height))"
    )
    print(f"{name}: {total / screen:.1f} screens, nodes {nodes}")
    assert rows == 80
    assert one_line == 44
    assert total / screen <= most
    assert max(nodes.values()) <= MOST_NODES


def test_the_bar_is_56_pixels_and_stays_with_code_side_undo_and_sign(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin("DUNLIN-7")
    for width, height in ((1024, 768), (390, 844), (1366, 768)):
        page.set_viewport_size({"width": width, "height": height})
        page.goto(f"{address}stage/look/")
        if not page.locator("#head form button").count():
            hand.save("#row-arm_attitude .one-touch")
        page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        bar = page.locator("#head").bounding_box()
        assert (bar["y"], bar["height"]) == (0, 56)
        for what in ("DUNLIN-7", "left side", "undo", "sign"):
            expect(page.locator("#head").get_by_text(what, exact=True)).to_be_in_viewport()
        assert page.evaluate("document.documentElement.scrollWidth - window.innerWidth") <= 0


def test_keyboard_goes_as_the_eye_reads_and_every_button_names_its_item(
    open_page: Any, site: str
) -> None:
    page = open_page(has_touch=False)
    hand = Hand(page, site)
    address = hand.begin("RUFF-1")
    page.goto(f"{address}stage/special-tests/")
    page.locator("#row-neer .right a").focus()
    seen = []
    for _ in range(4):
        seen.append(page.evaluate(FOCUS))
        page.keyboard.press("Tab")
    assert seen == [
        "other, Neer sign, patient's right",
        "Neer sign",
        "Neer sign: negative, both sides",
        "other, Neer sign, patient's left",
    ]
    names = page.evaluate(
        "[...document.querySelectorAll('[data-row] button')].map(b => b.getAttribute('aria-label'))"
    )
    assert len(names) == len(set(names)) > 3
    # Turned, the columns change places, and the keyboard with them.
    page.locator("[data-turn]").first.click()
    page.locator("#row-neer .left a").focus()
    assert page.evaluate(FOCUS) == "other, Neer sign, patient's left"
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUS) == "Neer sign"


def test_a_row_opens_without_network_and_escape_closes_it_and_how_opens_at_its_top(
    open_page: Any, site: str
) -> None:
    page = open_page(has_touch=False)
    hand = Hand(page, site)
    address = hand.begin("RUFF-2")
    page.goto(f"{address}stage/special-tests/")
    page.context.set_offline(True)
    page.locator("#row-neer .left a").click()
    assert page.locator("#row-neer .left .chip").count() >= 3
    assert page.evaluate("document.activeElement.closest('.left') !== null")
    page.keyboard.press("Escape")
    assert page.locator("#row-neer .chip").count() == 0
    assert page.evaluate("document.activeElement.closest('#row-neer') !== null")
    page.context.set_offline(False)
    page.locator("#row-neer .left a").click()
    page.locator("#row-neer .side-links a >> nth=0").click()
    panel = page.locator("#panel-neer")
    expect(panel).to_contain_text("mistakes")
    expect(panel.locator("dl > div").first).to_be_in_viewport()
    assert page.evaluate("document.activeElement.getAttribute('aria-label')") == "close Neer sign"
    page.keyboard.press("Escape")
    expect(panel).to_be_empty()
    assert page.evaluate(FOCUS) == "how to examine Neer sign"


def test_what_is_abnormal_has_a_word_and_a_shape_of_its_own(open_page: Any, site: str) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin("RUFF-3")
    page.goto(f"{address}stage/feel/")
    hand.save("#row-coracoid_tenderness .left .chip:text-is('2')")
    hand.save("#row-coracoid_tenderness .one-touch")
    hand.save("#row-gh_front_tenderness .one-touch")
    weight = "e => [getComputedStyle(e, '::before').content, getComputedStyle(e).fontWeight]"
    phrase = page.locator("#row-coracoid_tenderness .left .phrase")
    assert phrase.evaluate(weight) == ['"abnormal"', "700"]
    assert page.locator("#row-coracoid_tenderness .left .mark.abnormal").count() == 1
    # Said to a screen reader as well, not drawn alone.
    expect(phrase).to_contain_text("abnormal:")
    normal = page.locator("#row-gh_front_tenderness .fold-word")
    assert normal.evaluate(weight)[0] == "none"


def test_forces_and_passive_numbers_wait_until_something_asks_for_them(
    open_page: Any, site: str
) -> None:
    page = open_page()
    hand = Hand(page, site)
    address = hand.begin("RUFF-4")
    page.goto(f"{address}stage/move/")
    passive = "#row-flexion .left .cell:has(.mode:text-is('passive')) input[name='angle.degrees']"
    active = passive.replace("passive", "active")
    hand.unfold(active)
    expect(page.locator(active)).to_be_visible()
    expect(page.locator(passive)).to_be_hidden()
    page.fill(active, "95")
    hand.save("#row-flexion .left .cell:has(.mode:text-is('active')) form.number .record")
    expect(page.locator(passive)).to_be_visible()
    page.goto(f"{address}stage/power/")
    force = "#row-abduction_power .left input[name='force.newtons']"
    hand.unfold(force)
    expect(page.locator(force)).to_be_hidden()
    page.locator("#row-abduction_power .left .further summary").click()
    expect(page.locator(force)).to_be_visible()


def test_the_figure_answers_without_an_error_on_the_console(open_page: Any, site: str) -> None:
    page, said = open_page(), []
    page.on("console", lambda m: said.append(m.text) if m.type in ("error", "warning") else None)
    hand = Hand(page, site)
    address = hand.begin("RUFF-5")
    page.goto(f"{address}figure/")
    page.locator("#t-coracoid-left").tap()
    hand.save("#spot-coracoid_tenderness .chip:text-is('2')")
    page.goto(f"{address}history/")
    hand.save(".sweep")
    assert said == []
