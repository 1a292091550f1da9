"""docs/python.md: its code runs, and its table names the face and the frames there are."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import sidewise

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
CODE = re.findall(r"```python\n(.*?)```", PAGE, re.S)


def test_the_code_of_the_page_runs(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "examples").symlink_to(ROOT / "examples")
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    for block in CODE:
        exec(block, names)
    said = capsys.readouterr().out
    assert len(CODE) == 2
    assert "hot, swollen joint" in said
    assert "<FollowUp: HERON-1" in said
    assert (tmp_path / "course.svg").stat().st_size > 1000


def test_the_table_names_the_whole_face() -> None:
    rows = "\n".join(line.split("|")[1] for line in PAGE.splitlines() if line.startswith("| `"))
    named = re.findall(r"`(\w+)", rows)
    assert sorted([*named, "__version__"]) == sorted(sidewise.__all__)
