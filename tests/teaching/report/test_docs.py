"""What docs/marks.md shows is run, so that it stays true."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.teaching.tables.columns import COLUMNS

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "docs" / "marks.md").read_text(encoding="utf-8")


def blocks(kind: str) -> list[str]:
    return re.findall(rf"```{kind}\n(.*?)```", PAGE, flags=re.DOTALL)


def test_commands_run(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.chdir(ROOT)
    lines = [line for line in blocks("")[0].splitlines() if not line.startswith("sidewise check")]
    for line in lines:
        words = shlex.split(line.replace("report.html", str(tmp_path / "report.html")))
        assert CliRunner().invoke(app, words[1:]).exit_code == 0, line
    assert len(lines) == 5


def test_python_runs(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(ROOT)
    exec(compile(blocks("python")[0], "docs/marks.md", "exec"), {})
    assert "['S16', 'S41', 'S26']" in capsys.readouterr().out


def test_every_column_is_documented() -> None:
    named = set(re.findall(r"`(\w+)`", PAGE))
    assert set(COLUMNS) <= named
    assert len(COLUMNS) == 18


def test_every_option_is_documented() -> None:
    import inspect

    from sidewise.commands.marks import marks

    options = [
        value.default.param_decls[0]
        for value in inspect.signature(marks).parameters.values()
        if getattr(value.default, "param_decls", ())
    ]
    missing = [name for name in options if name not in PAGE]
    assert missing == []
    assert len(options) == 32


def test_every_point_of_what_was_not_so_has_its_tests() -> None:
    page = (ROOT / "docs" / "marks-promises.md").read_text(encoding="utf-8")
    table = page.partition("## Point by point")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (\d+) \|.*\| (.+) \|$", table, flags=re.MULTILINE)
    assert [int(number) for number, _ in rows] == list(range(1, 17))
    there = set()
    for path in (ROOT / "tests" / "teaching").rglob("test_*.py"):
        there |= set(re.findall(r"^def (test_\w+)", path.read_text(), flags=re.MULTILINE))
    for number, cell in rows:
        # Without a file's name a test is of one file, said above the table; "file::test" names it.
        named = {name.rpartition("::")[2] for name in re.findall(r"`([^`]+)`", cell)}
        assert named, number
        assert named <= there, (number, named - there)
