"""A tablet: its storage, clock, cookies and tabs. It outlives its pages; only it is found again."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from http.cookies import SimpleCookie
from typing import TYPE_CHECKING, Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM

from tests.simulation.page import Page

if TYPE_CHECKING:
    from tests.simulation.world import World


@dataclass
class Tablet:
    """What rests on one device, and which pages are open on it."""

    world: World
    number: int
    who: str = ""
    """Who signed in here last and has not signed out; the server may think otherwise."""
    cookies: SimpleCookie = field(default_factory=SimpleCookie)
    rows: dict[int, dict[str, Any]] = field(default_factory=dict)
    pages: list[Page] = field(default_factory=list)
    is_online: bool = True
    has_room: bool = True
    ahead: float = 0.0
    asleep_until: float = 0.0
    ever_kept: list[str] = field(default_factory=list)
    """The owner of each row that was ever kept here."""
    _last_row: int = 0
    _storage_free_at: float = 0.0
    _in_line: list[tuple[Page, int]] = field(default_factory=list)

    def open_page(self, address: str, html: str) -> Page:
        """Another tab, or the same one after a reload."""
        self.world.pages_opened += 1
        page = Page(self, self.world.pages_opened, address, html)
        self.pages.append(page)
        return page

    def close(self, page: Page) -> None:
        """Nothing more is heard of it; a lock that it holds is free."""
        page.close()
        if page in self.pages:
            self.pages.remove(page)
        held = bool(self._in_line) and self._in_line[0][0] is page
        self._in_line = [one for one in self._in_line if one[0] is not page]
        if held:
            self._grant()

    def live_pages(self) -> list[Page]:
        """Those that still show something of a person."""
        return [page for page in self.pages if not page.is_blank]

    def asked(self, page: Page, name: str, number: int, values: list[Any]) -> Any:
        """What a page asks of its surroundings."""
        return getattr(self, f"_{name}")(page, number, *values)

    # What is answered at once.

    def _now(self, page: Page, number: int) -> str:
        return str(int((self.world.epoch + self.world.now + self.ahead) * 1000))

    def _random(self, page: Page, number: int, count: int) -> str:
        return self.world.chance.randbytes(count).hex()

    def _blank(self, page: Page, number: int) -> None:
        page.is_blank = True
        self.world.note(f"page {page.number} is blank")

    def _say(self, page: Page, number: int, text: str) -> None:
        for other in [other for other in self.pages if other is not page]:
            self.later(0.005, lambda other=other: other.call("hear", text), other)  # type: ignore[misc]

    def _reload(self, page: Page, number: int) -> None:
        self.later(0.01, lambda: self.world.reload(page), page)

    def _done(self, page: Page, number: int, answer: dict[str, Any]) -> None:
        page.answers[number] = answer
        self.world.answered(page, number, answer)

    # What is answered later.

    def later(self, wait: float, work: Callable[[], Any], page: Page) -> None:
        """Do this on the page after so many seconds, if it is still there and awake."""
        self.world.later(wait, lambda: self._if_awake(work, page))

    def _if_awake(self, work: Callable[[], Any], page: Page) -> None:
        if not page.is_open:
            return
        if self.asleep_until > self.world.now:
            wait = min(self.asleep_until - self.world.now, 60)
            self.world.later(wait, lambda: self._if_awake(work, page))
        else:
            work()

    def _settle(self, page: Page, number: int, wait: float, answer: Any) -> None:
        self.later(wait, lambda: page.call("settle", number, True, json.dumps(answer)), page)

    def _refuse(self, page: Page, number: int, wait: float, why: str) -> None:
        self.later(wait, lambda: page.call("settle", number, False, why), page)

    def _timer(self, page: Page, number: int, wait: float, again: bool) -> None:
        def fire() -> None:
            page.call("fire", number)
            if again and page.is_open:
                self.later(wait / 1000, fire, page)

        self.later(wait / 1000, fire, page)

    def _encrypt(
        self, page: Page, number: int, key: str | None, nonce: str, about: str, data: str
    ) -> None:
        if key is None:
            self._refuse(page, number, 0, "TypeError: no key")
            return
        cipher = AESGCM(bytes.fromhex(key))
        sealed = cipher.encrypt(bytes.fromhex(nonce), bytes.fromhex(data), bytes.fromhex(about))
        self._settle(page, number, self.world.moment(), sealed.hex())

    def _decrypt(
        self, page: Page, number: int, key: str | None, nonce: str, about: str, data: str
    ) -> None:
        if key is None:
            self._refuse(page, number, 0, "TypeError: no key")
            return
        cipher = AESGCM(bytes.fromhex(key))
        try:
            text = cipher.decrypt(bytes.fromhex(nonce), bytes.fromhex(data), bytes.fromhex(about))
        except InvalidTag:
            self._refuse(page, number, self.world.moment(), "not this key")
            return
        self._settle(page, number, self.world.moment(), text.hex())

    def _in_turn(self, page: Page, work: Callable[[], Any]) -> None:
        # The storage of a device does one thing after the other, also while a page is closed.
        self._storage_free_at = max(self._storage_free_at, self.world.now) + self.world.moment()
        self.world.later(self._storage_free_at - self.world.now, work)

    def _open(self, page: Page, number: int) -> None:
        self._in_turn(page, lambda: self._settle(page, number, 0, None))

    def _rows(self, page: Page, number: int) -> None:
        def read() -> None:
            rows = [{"number": number, **row} for number, row in sorted(self.rows.items())]
            self._settle(page, number, 0, rows)

        self._in_turn(page, read)

    def _commit(self, page: Page, number: int, deeds: list[Any]) -> None:
        def write() -> None:
            if not self.has_room and any(isinstance(deed, dict) for deed in deeds):
                self._refuse(page, number, 0, "QuotaExceededError")
                return
            for deed in deeds:
                if isinstance(deed, dict):
                    self._last_row += 1
                    self.rows[self._last_row] = deed
                    self.ever_kept.append(deed["owner"])
                else:
                    self.rows.pop(deed, None)
            self._settle(page, number, 0, None)

        self._in_turn(page, write)

    def _lock(self, page: Page, number: int, name: str) -> None:
        self._in_line.append((page, number))
        if len(self._in_line) == 1:
            self._grant()

    def _unlock(self, page: Page, number: int, name: str) -> None:
        if self._in_line and self._in_line[0][0] is page:
            self._in_line.pop(0)
            self._grant()

    def _grant(self) -> None:
        if self._in_line:
            self._settle(*self._in_line[0], 0, None)

    def _fetch(
        self, page: Page, number: int, address: str, method: str, headers: dict[str, str], body: str
    ) -> None:
        self.world.carry(page, number, address, method, headers, body)
