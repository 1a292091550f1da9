"""Two browsers at the tablet's address: trusted or not, with the laptop gone and back again."""

from __future__ import annotations

import os
import shutil
import urllib.request
from pathlib import Path
from typing import Any

import pytest

from tests.anywhere.browsers import BROWSERS, Browser, until
from tests.anywhere.served_tablet import PASSWORD, Laptop, add_owner, laptop

pytestmark = [pytest.mark.browser, pytest.mark.slow]

SEND = """(() => {{
  for (const [id, text] of Object.entries({fields})) document.getElementById(id).value = text;
  for (const at of {checked}) document.querySelector(at).checked = true;
  document.querySelector('main button.main').click();
  return true;
}})()"""
CHIP = "document.querySelector('#row-coracoid_tenderness .left .chip')"
OPENER = "document.querySelector('#row-coracoid_tenderness.closed [data-opens]')"
FETCHED = """performance.getEntriesByType('resource').some(
  (entry) => entry.name.includes('stage/look/?part=1') && entry.responseEnd > 0)"""


@pytest.fixture(params=BROWSERS)
def kind(request: Any) -> str:
    name: str = request.param
    found = {"chromium": True, "firefox": shutil.which("firefox") is not None}
    if not (found[name] and shutil.which("certutil")):
        if os.environ.get("CI"):
            pytest.fail(f"no {name} or no certutil: in CI both must be there")
        pytest.skip(f"needs {name} and certutil")
    return name


@pytest.fixture
def home(tmp_path: Path) -> Path:
    folder = tmp_path / "laptop"
    add_owner(folder)
    return folder


def root_file(served: Laptop, folder: Path) -> Path:
    path = folder / "root.crt"
    path.write_bytes(urllib.request.urlopen(f"{served.steps}root.crt").read())
    return path


def send(browser: Browser, fields: dict[str, str], checked: tuple[str, ...] = ()) -> None:
    browser.evaluate(SEND.format(fields=fields, checked=list(checked)))


def examination(browser: Browser, served: Laptop) -> None:
    """Sign in, begin with a new patient, and open the stage of feeling."""
    browser.go(f"{served.pages}sign-in/")
    send(browser, {"id_username": "owner", "id_password": PASSWORD})
    until(browser, "location.pathname === '/'")
    browser.go(f"{served.pages}patients/new/")
    send(browser, {"id_code": "TURNSTONE-3"})
    until(browser, "document.getElementById('id_age') !== null")
    boxes = ("input[name=complaint][value=left]", "input[name=sex][value=female]")
    send(browser, {"id_age": "58", "id_setting": "primary"}, boxes)
    address = until(browser, "location.pathname.match(/^.examinations.[^/]+./)?.[0]")
    browser.go(f"{served.pages}{address[1:]}stage/feel/")


def test_an_entry_made_while_the_laptop_is_gone_arrives_when_it_is_back(
    kind: str, home: Path, tmp_path: Path
) -> None:
    with laptop(home) as served:
        root = root_file(served, tmp_path)
    with BROWSERS[kind](tmp_path / kind, root) as browser:
        with laptop(home) as served:
            examination(browser, served)
            until(browser, "Boolean(navigator.serviceWorker?.controller)")
            browser.evaluate("document.dispatchEvent(new CustomEvent('at-rest'))")
            until(browser, FETCHED)
        # The command has ended: nobody listens at the address any more.
        browser.evaluate(f"({OPENER}?.click(), true)")
        until(browser, f"{CHIP} !== null")
        browser.evaluate(f"({CHIP}.click(), true)")
        waits = until(browser, "document.querySelector('.waits')?.textContent")
        assert "waiting" in waits
        with laptop(home):
            until(browser, "document.querySelector('.waits') === null")
            until(browser, "document.querySelector('#row-coracoid_tenderness .phrase') !== null")


def test_without_the_root_the_browser_warns_and_stops(
    kind: str, home: Path, tmp_path: Path
) -> None:
    warned = pytest.raises(Exception, match=r"(?i)CERT_AUTHORITY_INVALID|UNKNOWN_ISSUER")
    with laptop(home) as served, BROWSERS[kind](tmp_path / kind, None) as browser, warned:
        browser.go(f"{served.pages}sign-in/")
