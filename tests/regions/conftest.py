"""A data folder with the lantern joint in it, whole or with parts absent."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from sidewise.knowledge.manifest import RegionPart
from tests.regions.shelf import put

Install = Callable[[tuple[RegionPart, ...]], Path]


@pytest.fixture
def install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Install:
    """Puts the lantern joint into a data folder of its own, which is the person's from then on."""

    def installed(without: tuple[RegionPart, ...] = ()) -> Path:
        home = tmp_path / "home"
        monkeypatch.setenv("SIDEWISE_HOME", str(home))
        return put(home, without)

    return installed
