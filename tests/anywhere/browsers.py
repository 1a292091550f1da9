"""Two browsers of different makers behind one small face: go to, and evaluate.

Each has a list of trusted roots of its own in a folder of the test, into which `certutil` of NSS
puts the root, as a person does in the settings.
"""

from __future__ import annotations

import itertools
import json
import os
import re
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol

from tests.setup_browser import FLAGS, find_browser

WAIT_S = 60


class Browser(Protocol):
    """What a test does with a page."""

    def go(self, address: str) -> None:
        """Open an address; an error of the network or of TLS is raised."""

    def evaluate(self, script: str) -> Any:
        """The value of an expression on the page, awaited if it is a promise."""


def until(browser: Browser, script: str) -> Any:
    """Wait until an expression is true on whatever page is shown by then."""
    last: object = None
    for _ in range(WAIT_S * 5):
        try:
            last = browser.evaluate(script)
        except Exception as error:  # noqa: BLE001 - a page that is being left answers with an error
            last = error
        else:
            if last:
                return last
        time.sleep(0.2)
    raise AssertionError(f"never true: {script}; last {last}")


def trust(folder: Path, root: Path) -> None:
    """Put a root into the list of a browser whose list is kept in `folder`."""
    folder.mkdir(parents=True, exist_ok=True)
    place = f"sql:{folder}"
    if not (folder / "cert9.db").exists():
        subprocess.run(["certutil", "-N", "-d", place, "--empty-password"], check=True)
    words = ["certutil", "-A", "-d", place, "-n", "tablet", "-t", "C,,", "-i", str(root)]
    subprocess.run(words, check=True)


class Chromium:
    """Through the developers' tools of the browser."""

    def __init__(self, page: Any) -> None:
        self.page = page

    def go(self, address: str) -> None:
        """Open an address."""
        self.page.goto(address)

    def evaluate(self, script: str) -> Any:
        """The value of an expression on the page."""
        return self.page.evaluate(script)


@contextmanager
def chromium(folder: Path, root: Path | None) -> Iterator[Browser]:
    """A Chromium with its list under a home of its own."""
    from playwright.sync_api import sync_playwright

    if root is not None:
        trust(folder / ".pki" / "nssdb", root)
    path = find_browser()
    assert path is not None
    env: dict[str, str | float | bool] = {**os.environ, "HOME": str(folder)}
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(FLAGS), env=env)
        yield Chromium(browser.new_page())
        browser.close()


class Firefox:
    """Through WebDriver BiDi (W3C), which this browser speaks by itself."""

    def __init__(self, socket: Any) -> None:
        self.socket = socket
        self.numbers = itertools.count(1)
        self.ask("session.new", capabilities={})
        self.context = self.ask("browsingContext.getTree")["contexts"][0]["context"]

    def ask(self, method: str, **parameters: Any) -> Any:
        """The result of one command; what is told unasked is passed over."""
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": parameters}))
        while True:
            told = json.loads(self.socket.recv(timeout=WAIT_S))
            if told.get("id") == number:
                if told["type"] == "error":
                    raise RuntimeError(told["message"])
                return told["result"]

    def go(self, address: str) -> None:
        """Open an address."""
        self.ask("browsingContext.navigate", context=self.context, url=address, wait="complete")

    def evaluate(self, script: str) -> Any:
        """The value of an expression on the page."""
        told = self.ask(
            "script.evaluate", expression=f"Promise.resolve({script}).then(JSON.stringify)",
            target={"context": self.context}, awaitPromise=True,
        )  # fmt: skip
        if told["type"] != "success":
            raise RuntimeError(str(told.get("exceptionDetails")))
        text = told["result"].get("value")
        return None if text is None else json.loads(text)


@contextmanager
def firefox(folder: Path, root: Path | None) -> Iterator[Browser]:
    """A Firefox with a profile of its own."""
    from websockets.sync.client import connect

    profile = folder / "profile"
    profile.mkdir(parents=True)
    if root is not None:
        trust(profile, root)
    path = shutil.which("firefox")
    assert path is not None
    words = [path, "--headless", "--no-remote", "--profile", str(profile)]
    process = subprocess.Popen(
        [*words, "--remote-debugging-port", "0"],
        env={**os.environ, "HOME": str(folder)}, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        with connect(f"{_told_address(process)}/session", max_size=None) as socket:
            yield Firefox(socket)
    finally:
        process.terminate()
        process.wait(20)
        if process.stderr is not None:
            process.stderr.close()


def _told_address(process: subprocess.Popen[str]) -> str:
    for line in process.stderr or ():
        if found := re.search(r"WebDriver BiDi listening on (ws://\S+)", line):
            return found[1]
    raise AssertionError("the second browser did not start")


BROWSERS = {"chromium": chromium, "firefox": firefox}
