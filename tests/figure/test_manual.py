"""The example of the manual runs, and the picture it shows is there and small."""

from __future__ import annotations

import contextlib
import io
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
MANUAL = ROOT / "docs" / "figure.md"


def test_example_of_the_manual_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    blocks = re.findall(r"```python\n(.*?)```", MANUAL.read_text(encoding="utf-8"), re.S)
    assert len(blocks) == 1
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(blocks[0], MANUAL.name, "exec"), {})
    said = printed.getvalue()
    assert "left: abduction 70 degrees, hitching, drawn at 75" in said
    assert "left coracoid: tender" in said
    assert "<svg" in said


def test_picture_of_the_manual_is_there_and_small() -> None:
    picture = ROOT / "docs" / "images" / "figure-plates.png"
    assert 20_000 < picture.stat().st_size < 300_000
