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

READ_ALL = """async () => {
  const asked = (r) => new Promise((y, n) => { r.onsuccess = () => y(r.result); r.onerror = n; });
  const db = await asked(indexedDB.open("sidewise", 1));
  if (!db.objectStoreNames.contains("waiting")) { db.close(); return []; }
  const rows = await asked(db.transaction("waiting").objectStore("waiting").getAll());
  db.close();
  return rows.map((r) => ({ names: Object.keys(r).sort(), owner: r.owner,
    bytes: Array.from(new Uint8Array(r.sealed)) }));
}"""
POSITIVE = "#row-hawkins_kennedy .{side} form[data-touch] button:has-text('{text}')"


@pytest.fixture(scope="module")
def room(tmp_path_factory: Any) -> Iterator[tuple[Server, list[str]]]:
    """The service, and enough open examinations for every test to have its own."""
    home = tmp_path_factory.mktemp("room") / "home"
    home.mkdir()
    store = Store(home)
    rooms = store.step("rooms", tablets=16)
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

    def touch(self, item: str = "hawkins_kennedy", places: str = "left", button: int = 0) -> None:
        """Touch one button of a row."""
        row = self.page.locator(f"#row-{item} .{places} form[data-touch] button:visible")
        row.nth(button).click()

    def waiting(self) -> int:
        """How many lines the page shows as kept on the device."""
        return int(self.page.locator("#waiting:visible li").count())

    def until_waiting(self, number: int) -> None:
        """Wait until so many are shown."""
        script = "n => { const r = document.getElementById('waiting'); return r &&" \
                 " (r.hidden ? 0 : r.querySelectorAll('li').length) === n; }"  # fmt: skip
        self.page.wait_for_function(script, arg=number, timeout=20_000)

    def stored(self) -> list[dict[str, Any]]:
        """What rests in the browser, raw."""
        return list(self.page.evaluate(READ_ALL))

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
    tablet.page.reload()
    tablet.ready()
    tablet.server.kill()
    try:
        tablet.page.reload()
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
    other.page.reload()
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
