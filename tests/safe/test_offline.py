"""A tablet without network, in a real Chromium against the real service.

Touches are kept, encrypted, shown as waiting, and sent in order; nothing readable rests on the
tablet; an ended session blanks the page and loses nothing.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import pytest

from tests.safe.conftest import PASSWORD
from tests.safe.server import Server
from tests.safe.stores import Store
from tests.setup_browser import FLAGS, find_browser

pytestmark = [pytest.mark.browser, pytest.mark.slow]

# A script has no time limit of its own: a store that does not open must fail, not hang.
READ_ALL = """() => Promise.race([
  new Promise((_, no) => setTimeout(() => no(new Error("the store did not open")), 20000)),
  (async () => {
  const asked = (r) => new Promise((y, n) => { r.onsuccess = () => y(r.result); r.onerror = n; });
  const db = await asked(indexedDB.open("sidewise", 1));
  if (!db.objectStoreNames.contains("waiting")) { db.close(); return []; }
  const rows = await asked(db.transaction("waiting").objectStore("waiting").getAll());
  db.close();
  return rows.map((r) => ({ names: Object.keys(r).sort(), owner: r.owner,
    bytes: Array.from(new Uint8Array(r.sealed)) }));
})()])"""
POSITIVE = "#row-hawkins_kennedy .{side} form[data-touch] button:has-text('{text}')"


@pytest.fixture(scope="module")
def room(tmp_path_factory: Any) -> Iterator[tuple[Server, list[str]]]:
    """The service, and enough open examinations for every test to have its own."""
    home = tmp_path_factory.mktemp("room") / "home"
    home.mkdir()
    store = Store(home)
    rooms = store.step("rooms", tablets=24)
    server = Server(store)
    server.start()
    yield server, rooms["examinations"]
    server.stop()


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """A real browser; in CI it must be there."""
    path = find_browser()
    if path is None:
        if os.environ.get("CI"):
            pytest.fail("no Chromium: in CI the browser tests must run")
        pytest.skip("no Chromium found")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS))
        yield browser
        browser.close()


@dataclass
class Tablet:
    """One browser with its own storage."""

    context: Any
    server: Server
    examination: str
    page: Any = None

    @property
    def site(self) -> str:
        return f"http://127.0.0.1:{self.server.port}"

    def sign_in(self, who: str = "owner") -> None:
        """As a person does."""
        if "/sign-in/" not in self.page.url:
            self.page.goto(f"{self.site}/sign-in/")
        self.page.fill("#id_username", who)
        self.page.fill("#id_password", PASSWORD)
        self.page.click("main button.main")
        self.page.wait_for_url(lambda url: "/sign-in/" not in url)

    def open(self, who: str = "owner") -> Tablet:
        """Signed in, on the stage of special tests, the key in memory."""
        self.page = self.context.new_page()
        self.page.goto(f"{self.site}/examinations/{self.examination}/stage/special-tests/")
        if "/sign-in/" in self.page.url:
            self.sign_in(who)
        self.ready()
        return self

    def ready(self) -> None:
        """Until the page has its key: it asks for it when it is opened."""
        self.page.wait_for_load_state("networkidle")
        self.page.wait_for_selector("#waiting", state="attached")

    def reload(self) -> None:
        """Load the page anew, also where it is just doing so by itself, as after sending."""
        from playwright.sync_api import Error

        try:
            self.page.reload()
        except Error as error:
            if "ERR_ABORTED" not in str(error):
                raise
            self.page.wait_for_load_state()
            self.page.reload()

    def touch(self, item: str = "hawkins_kennedy", places: str = "left", button: int = 0) -> None:
        """Touch one button of a row, opened where it is closed."""
        opener = self.page.locator(f"#row-{item}.closed [data-opens]").last
        if opener.count() and not self.page.locator(f"#row-{item} .{places} form").count():
            opener.click()
        row = self.page.locator(f"#row-{item} .{places} form[data-touch] button:visible")
        row.nth(button).click()

    def type_line(self, text: str, press: str = "read it") -> None:
        """Type a line into the stage page's form and have it read."""
        if not self.page.locator("#typed-line").is_visible():
            self.page.click("summary:text-is('type a line')")
        self.page.fill("#typed-line", text)
        self.page.click(f"form[data-line] button:text-is('{press}')")

    def waiting(self) -> int:
        """How many lines the page shows as kept on the device."""
        return int(self.page.locator("#waiting:visible li").count())

    def until_waiting(self, number: int) -> None:
        """Wait until so many are shown."""
        script = "n => { const r = document.getElementById('waiting'); return r &&" \
                 " (r.hidden ? 0 : r.querySelectorAll('li').length) === n; }"  # fmt: skip
        self.page.wait_for_function(script, arg=number, timeout=20_000)

    def stored(self) -> list[dict[str, Any]]:
        """What rests in the browser, raw.

        A page that has sent what waited loads itself again, under a question asked at that moment.
        """
        from playwright.sync_api import Error

        while True:
            try:
                return list(self.page.evaluate(READ_ALL))
            except Error as error:
                if "context was destroyed" not in str(error):
                    raise
                self.page.wait_for_load_state()

    def entries(self) -> list[dict[str, Any]]:
        """The ledger's deeds at the server."""
        return list(self.server.store.step("deeds", examination=self.examination))


@pytest.fixture
def tablet(chromium: Any, room: tuple[Server, list[str]]) -> Iterator[Tablet]:
    """A tablet with an examination that no other test touches."""
    server, examinations = room
    context = chromium.new_context(viewport={"width": 1024, "height": 768})
    yield Tablet(context, server, examinations.pop())
    context.close()


def test_touches_without_network_are_shown_as_waiting_and_sent_in_order(tablet: Tablet) -> None:
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch(button=0)
    tablet.until_waiting(1)
    tablet.touch(item="neer", button=0)
    tablet.until_waiting(2)
    assert "hawkins kennedy, left" in tablet.page.inner_text("#waiting")
    assert len(tablet.entries()) == 1
    tablet.context.set_offline(False)
    tablet.until_waiting(0)
    items = [deed["finding"]["item"] for deed in tablet.entries()[1:]]
    assert items == ["hawkins_kennedy", "neer"]
    assert tablet.stored() == []


def test_nothing_readable_rests_on_the_tablet(tablet: Tablet) -> None:
    """ASVS 5.0.0, 14.3.3. Every store of the browser is looked through."""
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch()
    tablet.until_waiting(1)
    (row,) = tablet.stored()
    assert row["names"] == ["nonce", "number", "owner", "sealed"]
    everything = bytes(row["bytes"])
    for word in (b"hawkins", b"left", b"result", tablet.examination[:8].encode(), b"TERN"):
        assert word not in everything
    rest = tablet.page.evaluate(
        "async () => JSON.stringify([{...localStorage}, {...sessionStorage}, await caches.keys(),"
        " (await indexedDB.databases()).map(d => d.name)])"
    )
    local, session, caches, databases = json.loads(rest)
    # The library of the page notes its own address, which holds a random key and nothing else.
    assert set(session) <= {"htmx-current-path-for-history"}
    assert (local, caches, databases) == ({}, [], ["sidewise"])
    tablet.context.set_offline(False)
    tablet.until_waiting(0)


def test_after_a_closed_tab_the_queue_is_sent_on_the_next_visit(tablet: Tablet) -> None:
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch()
    tablet.until_waiting(1)
    tablet.page.close()
    tablet.context.set_offline(False)
    tablet.open()
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 2


def test_an_ended_session_blanks_the_page_and_what_waits_is_sent_after_signing_in(
    tablet: Tablet,
) -> None:
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch()
    tablet.until_waiting(1)
    tablet.server.store.step("end_sessions", who="owner")
    tablet.context.set_offline(False)
    tablet.page.wait_for_selector("h1:text-is('Your session has ended')", timeout=20_000)
    assert "TERN" not in tablet.page.content()
    assert "awkins" not in tablet.page.content()
    assert len(tablet.stored()) == 1
    tablet.page.click("text=Sign in again")
    tablet.sign_in()
    tablet.ready()
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 2


def test_a_touch_made_after_the_session_ended_is_kept(tablet: Tablet) -> None:
    tablet.open()
    tablet.server.store.step("end_sessions", who="owner")
    tablet.touch()
    tablet.page.wait_for_selector("h1:text-is('Your session has ended')")
    assert len(tablet.stored()) == 1
    tablet.page.click("text=Sign in again")
    tablet.sign_in()
    tablet.ready()
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 2


def test_a_left_tablet_blanks_by_itself_without_network(tablet: Tablet) -> None:
    tablet.page = tablet.context.new_page()
    tablet.page.clock.install()
    page, tablet.page = tablet.page, None
    page.goto(f"{tablet.site}/sign-in/")
    tablet.page = page
    tablet.sign_in()
    page.goto(f"{tablet.site}/examinations/{tablet.examination}/stage/special-tests/")
    tablet.ready()
    page.wait_for_timeout(300)
    tablet.context.set_offline(True)
    page.clock.run_for(29 * 60 * 1000)
    assert "hawkins" in page.content().lower()
    page.clock.run_for(2 * 60 * 1000)
    page.wait_for_selector("h1:text-is('Your session has ended')")
    assert "hawkins" not in page.content().lower()


def test_a_reload_without_network_says_reconnect_to_see(tablet: Tablet) -> None:
    tablet.open()
    tablet.page.evaluate("() => navigator.serviceWorker.ready.then(() => 1)")
    tablet.reload()
    tablet.ready()
    tablet.server.kill()
    try:
        tablet.reload()
        assert tablet.page.inner_text("h1") == "Reconnect to see"
        assert "TERN" not in tablet.page.content()
    finally:
        tablet.server.start()


def test_another_person_on_the_same_tablet_neither_sees_nor_sends_it(tablet: Tablet) -> None:
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch()
    tablet.until_waiting(1)
    tablet.page.close()
    tablet.context.set_offline(False)
    tablet.context.clear_cookies()
    tablet.server.store.step("person", who="second", role="clinician")
    tablet.page = tablet.context.new_page()
    tablet.sign_in("second")
    tablet.ready()
    assert tablet.waiting() == 0
    assert len(tablet.stored()) == 1
    assert len(tablet.entries()) == 1
    tablet.page.close()
    tablet.context.clear_cookies()
    tablet.open()
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 2


def test_what_comes_after_signing_is_held_and_shown_for_a_decision(tablet: Tablet) -> None:
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch()
    tablet.until_waiting(1)
    tablet.server.store.step("sign", examination=tablet.examination)
    tablet.context.set_offline(False)
    tablet.page.wait_for_selector("#waiting a", timeout=20_000)
    assert tablet.stored() == []
    tablet.page.click("#waiting a")
    assert "hawkins_kennedy, left" in tablet.page.inner_text("main")


def test_a_second_touch_without_network_takes_the_place_of_the_first(tablet: Tablet) -> None:
    """Otherwise one hand would be in conflict with itself."""
    tablet.open()
    tablet.context.set_offline(True)
    tablet.touch(button=0)
    tablet.until_waiting(1)
    tablet.touch(button=1)
    tablet.until_waiting(2)
    tablet.context.set_offline(False)
    tablet.until_waiting(0)
    first, second = tablet.entries()[1:]
    assert first["finding"]["value"] != second["finding"]["value"]
    state = tablet.server.store.step("conflicts", examination=tablet.examination)
    assert state == 0


def test_two_browsers_on_one_examination_lose_nothing_and_show_their_conflict(
    tablet: Tablet, chromium: Any
) -> None:
    other = Tablet(chromium.new_context(), tablet.server, tablet.examination)
    tablet.open()
    other.open()
    tablet.context.set_offline(True)
    tablet.touch(button=0)
    tablet.until_waiting(1)
    other.touch(button=1)
    other.page.wait_for_selector("#notice:text-is('saved')")
    tablet.context.set_offline(False)
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 3
    assert tablet.server.store.step("conflicts", examination=tablet.examination) == 1
    other.reload()
    assert "conflict" in other.page.inner_text("#row-hawkins_kennedy").lower()
    other.context.close()


def test_the_service_killed_under_a_touch_loses_nothing(tablet: Tablet) -> None:
    tablet.open()
    tablet.server.kill()
    tablet.touch()
    tablet.until_waiting(1)
    tablet.server.start()
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 2


LINE = "ER passive R 15; Neer L pos"


def decide(tablet: Tablet) -> None:
    """From the link on the page to the recorded line."""
    assert "waiting for your decision" in tablet.page.inner_text("#waiting")
    tablet.page.click(f"#waiting a[href*='{tablet.examination}']")
    assert f"Typed: {LINE}" in tablet.page.inner_text("main")
    tablet.page.click("button:text-is('Review')")
    assert "positive" in tablet.page.inner_text("form.rest")
    tablet.page.click("button:text-is('record these')")
    tablet.page.wait_for_url("**/stage/special-tests/**")


def items(tablet: Tablet) -> set[str]:
    return {deed["finding"]["item"] for deed in tablet.entries()[1:]}


def test_a_line_typed_without_network_is_kept_and_waits_for_its_confirmation(
    tablet: Tablet,
) -> None:
    tablet.open()
    tablet.context.set_offline(True)
    tablet.type_line(LINE)
    tablet.until_waiting(1)
    assert f"typed, not read yet: {LINE}" in tablet.page.inner_text("#waiting")
    said = tablet.page.inner_text("[data-said][role=status]")
    assert "Not read yet" in said
    assert tablet.page.input_value("#typed-line") == ""
    (row,) = tablet.stored()
    assert b"Neer" not in bytes(row["bytes"])
    tablet.context.set_offline(False)
    tablet.until_waiting(0)
    assert tablet.stored() == []
    assert len(tablet.entries()) == 1  # nothing is recorded that nobody has seen
    tablet.reload()
    tablet.ready()
    decide(tablet)
    assert items(tablet) == {"neer", "external_rotation_at_side"}
    tablet.ready()
    assert tablet.page.locator("#waiting a").count() == 0


def test_a_line_whose_confirmation_met_no_network_is_kept_too(tablet: Tablet) -> None:
    tablet.open()
    tablet.type_line(LINE)
    tablet.page.wait_for_selector("h1:text-is('A typed line')")
    tablet.context.set_offline(True)
    tablet.page.click("button:text-is('record these')")
    tablet.until_waiting(1)
    assert tablet.page.locator("button:text-is('record these')").count() == 0
    tablet.context.set_offline(False)
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 1
    decide(tablet)
    assert items(tablet) == {"neer", "external_rotation_at_side"}


def test_a_confirmation_whose_answer_was_lost_counts_once(tablet: Tablet) -> None:
    """The server has recorded it; the tablet cannot know and keeps the line."""
    tablet.open()
    tablet.type_line(LINE)
    tablet.page.wait_for_selector("h1:text-is('A typed line')")

    def deliver_and_lose(route: Any) -> None:
        route.fetch()
        route.abort()

    tablet.page.route("**/line/", deliver_and_lose)
    tablet.page.click("button:text-is('record these')")
    tablet.page.wait_for_selector("[role=status]:has-text('Not read yet')")
    tablet.until_waiting(0)
    assert len(tablet.entries()) == 3
    tablet.reload()
    tablet.ready()
    assert tablet.page.locator("#waiting a").count() == 0


def test_a_line_typed_after_the_session_ended_is_kept(tablet: Tablet) -> None:
    tablet.open()
    tablet.server.store.step("end_sessions", who="owner")
    tablet.type_line(LINE)
    tablet.page.wait_for_selector("h1:text-is('Your session has ended')")
    assert len(tablet.stored()) == 1
    tablet.page.click("text=Sign in again")
    tablet.sign_in()
    tablet.ready()
    tablet.until_waiting(0)
    decide(tablet)


def test_where_nothing_can_be_kept_the_line_stays_in_its_field(tablet: Tablet) -> None:
    tablet.page = tablet.context.new_page()
    tablet.page.route("**/queue-key/", lambda route: route.abort())
    page, tablet.page = tablet.page, None
    page.goto(f"{tablet.site}/sign-in/")
    tablet.page = page
    tablet.sign_in()
    page.goto(f"{tablet.site}/examinations/{tablet.examination}/stage/special-tests/")
    tablet.ready()
    tablet.context.set_offline(True)
    tablet.type_line(LINE)
    assert "The line stays here" in page.inner_text("[data-said][role=alert]")
    assert page.input_value("#typed-line") == LINE


def test_with_network_a_line_is_read_and_recorded_and_the_focus_moves_along(
    tablet: Tablet,
) -> None:
    tablet.open()
    tablet.type_line("Neer L maybe; hawkins R neg")
    tablet.page.wait_for_selector("h1:text-is('A typed line')")
    assert tablet.page.evaluate("document.activeElement.textContent") == "A typed line"
    assert "not understood" in tablet.page.inner_text("mark >> xpath=..")
    tablet.page.click("button:text-is('record these')")
    tablet.page.wait_for_selector("#row-hawkins_kennedy")
    assert tablet.page.url.endswith("#row-hawkins_kennedy")
    assert items(tablet) == {"hawkins_kennedy"}


def test_the_typed_line_passes_axe_at_every_step(tablet: Tablet) -> None:
    """WCAG 2.2 AA, with and without network."""
    from axe_playwright_python.sync_playwright import Axe

    axe, swept = Axe(), []
    rules = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}

    def sweep(where: str) -> None:
        found = axe.run(tablet.page, options=rules).response["violations"]
        assert [(v["id"], v["nodes"][0]["html"][:160]) for v in found] == [], where
        swept.append(where)

    tablet.open()
    tablet.page.click("summary:text-is('type a line')")
    sweep("the form")
    tablet.type_line("Neer L; ER R 15; hawkins maybe")
    tablet.page.wait_for_selector("h1:text-is('A typed line')")
    assert tablet.page.locator("fieldset").count() >= 1
    sweep("read, with a question and words not understood")
    tablet.context.set_offline(True)
    tablet.type_line(LINE)
    tablet.until_waiting(1)
    sweep("kept without network")
    tablet.context.set_offline(False)
    tablet.until_waiting(0)
    tablet.page.click("#waiting a")
    sweep("waiting for a decision")
    assert len(swept) == 4
