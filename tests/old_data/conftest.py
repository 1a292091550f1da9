"""The stored data of version 0.1.0, copied where a test may use it up."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.old_data.doors import Browser, Home

STORED = Path(__file__).parents[1] / "data" / "version_0_1_0"
SAID: dict[str, Any] = json.loads((STORED / "home.json").read_text())
PASSWORD = SAID["password"]


def stored(name: str) -> Any:
    """A stored JSON file."""
    return json.loads((STORED / name).read_text())


def signed_in(port: int, who: str = "owner") -> Browser:
    """A browser in which this person has signed in."""
    browser = Browser(port)
    browser.sign_in(who, PASSWORD)
    assert browser.is_in, who
    return browser


@pytest.fixture
def home(tmp_path: Path) -> Home:
    """A fresh copy of the home."""
    return Home.copied(STORED / "home", tmp_path / "home")


@pytest.fixture
def empty(tmp_path: Path) -> Home:
    """A new machine: nothing there but the signing key, which was kept apart."""
    folder = tmp_path / "empty"
    folder.mkdir()
    (folder / "secret-key").write_bytes((STORED / "home" / "secret-key").read_bytes())
    return Home(folder)


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """A copy of the home that a served app has opened; tests add to it and change nothing old."""
    return Home.copied(STORED / "home", tmp_path_factory.mktemp("opened") / "home")


@pytest.fixture(scope="module")
def spare(tmp_path_factory: pytest.TempPathFactory) -> Home:
    """Another copy, in which what is old may be used up."""
    return Home.copied(STORED / "home", tmp_path_factory.mktemp("spare") / "home")


@pytest.fixture(scope="module")
def spare_port(spare: Home) -> Iterator[int]:
    """Where the spare home is served."""
    with spare.served() as number:
        yield number


@pytest.fixture(scope="module")
def port(opened: Home) -> Iterator[int]:
    """Where the opened home is served."""
    with opened.served() as number:
        yield number


@pytest.fixture(scope="module")
def owner(port: int) -> Browser:
    """The owner of the patients, signed in."""
    return signed_in(port)
