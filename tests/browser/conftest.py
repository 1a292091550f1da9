"""A served app and a signed-in browser, shared by the tests of one file."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from typing import Any

import pytest

from tests.setup_browser import FLAGS, find_browser

PASSWORD = "a quiet tidal island"
TABLET = {"viewport": {"width": 1024, "height": 768}, "has_touch": True}


def serve(**extra: str) -> Iterator[str]:
    """The app in its own process and data folder."""
    with tempfile.TemporaryDirectory(prefix="sidewise-browser-") as home:
        env = {**os.environ, "SIDEWISE_HOME": home, **extra}
        command = [sys.executable, "-m", "tests.browser.served"]
        server = subprocess.Popen(command, env=env, stdout=subprocess.PIPE, text=True)
        assert server.stdout is not None
        address = server.stdout.readline().strip()
        assert address.startswith("http://127.0.0.1:"), "the served app did not start"
        try:
            yield address
        finally:
            server.terminate()
            server.wait(10)
            server.stdout.close()


@pytest.fixture(scope="session")
def site() -> Iterator[str]:
    """The address of the app, with an invented interpretation."""
    yield from serve()


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


@pytest.fixture(scope="module")
def signed_in(chromium: Any, site: str) -> Any:
    """What the browser keeps after the owner has signed in."""
    return sign_in(chromium, site, "owner")


def sign_in(chromium: Any, site: str, who: str) -> Any:
    """Sign in through the page, as a person does."""
    context = chromium.new_context()
    page = context.new_page()
    page.goto(f"{site}/sign-in/")
    page.fill("#id_username", who)
    page.fill("#id_password", PASSWORD)
    page.click("main button.main")
    page.wait_for_url(f"{site}/")
    kept = context.storage_state()
    context.close()
    return kept


@pytest.fixture
def open_page(chromium: Any, signed_in: Any) -> Iterator[Any]:
    """Opens pages with any options; an error on a page's console fails the test."""
    contexts, errors = [], []

    def opened(**options: Any) -> Any:
        context = chromium.new_context(**{"storage_state": signed_in, **TABLET, **options})
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: errors.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    assert errors == []
