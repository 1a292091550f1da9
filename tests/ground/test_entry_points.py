"""Entry points of a group: those that `importlib.metadata` finds, wherever they are."""

from __future__ import annotations

import sys
from importlib.metadata import entry_points
from pathlib import Path
from zipfile import ZipFile

import pytest

from sidewise.ground.entry_points import entry_points_of

TEXT = "[tidal.regions]\nlantern = lantern_pack\n"
ABOUT = "Metadata-Version: 2.1\nName: lantern\nVersion: 1\n"


@pytest.mark.parametrize("kind", ["dist-info", "archive"])
def test_a_library_that_names_the_group_is_found(
    kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if kind == "archive":
        place = tmp_path / "lantern.zip"
        with ZipFile(place, "w") as archive:
            archive.writestr("lantern-1.dist-info/METADATA", ABOUT)
            archive.writestr("lantern-1.dist-info/entry_points.txt", TEXT)
    else:
        place = tmp_path
        folder = tmp_path / "lantern-1.dist-info"
        folder.mkdir()
        (folder / "METADATA").write_text(ABOUT)
        (folder / "entry_points.txt").write_text(TEXT)
    monkeypatch.setattr(sys, "path", [*sys.path, str(place)])
    assert [(one.name, one.value) for one in entry_points_of("tidal.regions")] == [
        ("lantern", "lantern_pack")
    ]


@pytest.mark.parametrize("group", ["console_scripts", "pytest11", "tidal.regions"])
def test_they_are_those_of_the_standard_library(group: str) -> None:
    assert set(entry_points_of(group)) == set(entry_points(group=group))
