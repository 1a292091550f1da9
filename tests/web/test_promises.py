"""The table of promises names tests that exist; nothing is promised by a test that is not there."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROW = re.compile(r"`(tests/[\w/]+\.py)::(\w+)`")


def test_every_promise_names_a_test_that_exists():
    table = (ROOT / "docs" / "bedside-promises.md").read_text(encoding="utf-8")
    named = ROW.findall(table)
    missing = [
        (file, test)
        for file, test in named
        if f"def {test}(" not in (ROOT / file).read_text(encoding="utf-8")
    ]
    assert missing == []
    assert len(named) == 155


def test_every_picture_of_the_guide_is_there_and_small():
    guide = (ROOT / "docs" / "user-guide.md").read_text(encoding="utf-8")
    pictures = re.findall(r"\]\((images/bedside-[\w-]+\.png)\)", guide)
    for picture in pictures:
        assert (ROOT / "docs" / picture).stat().st_size < 300_000, picture
    assert len(pictures) == 9
