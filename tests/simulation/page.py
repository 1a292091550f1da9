"""One page in one tab: the shipped scripts in a context of the engine, until it is closed."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING, Any

import quickjs

from tests.simulation.scripts import around, shipped

if TYPE_CHECKING:
    from tests.simulation.tablet import Tablet


class Page:
    """What a person sees; everything outside of it goes through its tablet."""

    def __init__(self, tablet: Tablet, number: int, address: str, html: str) -> None:
        self.tablet, self.number, self.address = tablet, number, address
        self.account = _attribute(html, "data-account")
        self.is_open, self.is_blank = True, False
        self.answers: dict[int, Any] = {}
        self.in_hand = 0
        self.holds: dict[str, dict[str, Any]] = {}
        self.intervals: dict[int, float] = {}
        self.last_hand = self.opened_at = tablet.world.now
        about = {
            "address": address, "account": self.account, "tokens": _tokens(html),
            "groups": _meta(html), "idle": _attribute(html, "data-idle"),
            "left": _attribute(html, "data-left"), "whole": _attribute(html, "data-whole"),
        }  # fmt: skip
        self._error: Exception | None = None
        self.engine = quickjs.Context()
        self.engine.add_callable("host", self._host)
        self.engine.eval(f"const PAGE = {json.dumps(about)};\n{around()}\n{shipped()}")
        self._let_run()

    def call(self, name: str, *values: Any) -> Any:
        """Call a function of the page, then let its promises run; nothing once it is closed."""
        if not self.is_open:
            return None
        answer = self.engine.get(name)(*values)
        self._let_run()
        return answer

    def _let_run(self) -> None:
        while self.engine.execute_pending_job():
            pass
        if self._error is not None:
            raise self._error

    def _host(self, name: str, number: int, text: str) -> Any:
        # The engine would drop an error of ours: it is raised when the page has run.
        try:
            return self.tablet.asked(self, name, int(number), json.loads(text))
        except Exception as error:  # noqa: BLE001
            self._error = self._error or error
            return None

    def close(self) -> None:
        """The tab is closed or the tablet dies: nothing that was begun here is heard of again."""
        self.is_open = False


def _attribute(html: str, name: str) -> str:
    found = re.search(rf'{name}="([^"]*)"', html)
    return found[1] if found else ""


def _tokens(html: str) -> str:
    found = re.search(r"hx-headers='([^']*)'", html)
    return found[1] if found else "{}"


def _meta(html: str) -> str:
    import html as letters

    found = re.search(r'<meta name="value-groups" content="([^"]*)"', html)
    return letters.unescape(found[1]) if found else ""
