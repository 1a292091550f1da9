"""`sidewise practise` as it is typed: by script, kept, gone on with, and refused."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from click.testing import Result
from typer.testing import CliRunner

from sidewise import cli
from sidewise.errors import UserError
from sidewise.schemas import schema_of

LINES = """\
# A short one.
ask fever
prepare
move both external rotation
nonsense
chances frozen 40%, rest 5%
"""


def practise(*words: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(cli.app, ["practise", *words], input=typed)


@pytest.fixture
def script(tmp_path: Path) -> Path:
    path = tmp_path / "lines.txt"
    path.write_text(LINES, encoding="utf-8")
    return path


def test_kept_unfinished_then_gone_on_with_to_the_feedback(script: Path, tmp_path: Path) -> None:
    kept = tmp_path / "attempt.json"
    words = ("--seed", "7", "--attempt", str(kept))
    first = practise(*words, "--script", str(script))
    assert first.exit_code == 0, first.output
    assert "Not finished. Kept in" in first.output
    assert "Type help for the words." in first.output
    again = practise(*words, "--script", str(script))
    assert isinstance(again.exception, UserError)
    assert "--continue" in again.exception.message
    end = practise(*words, "--continue", "--json", typed="finish plan rest\n")
    told = json.loads(end.stdout)
    jsonschema.Draft202012Validator(schema_of("sidewise-feedback/1")).validate(told)
    assert told["plan"] == "rest"
    assert told["flags_missed"] is not None


def test_an_interruption_keeps_the_attempt(tmp_path: Path) -> None:
    kept = tmp_path / "attempt.json"
    found = practise("--seed", "7", "--attempt", str(kept), typed="ask fever\n")
    assert "--continue goes on with it" in found.output
    assert len(json.loads(kept.read_text())["steps"]) == 1


@pytest.mark.parametrize(
    ("words", "got"),
    [((), "neither"), (("--seed", "7", "--hints", "lots"), "lots"),
     (("--seed", "7", "--script", "no-such-file"), "no-such-file"),
     (("--seed", "7", "--continue", "--attempt", "no-such-attempt.json"), "no-such-attempt")],
)  # fmt: skip
def test_refused_in_words(words: tuple[str, ...], got: str, tmp_path: Path) -> None:
    more = () if "--attempt" in words else ("--attempt", str(tmp_path / "attempt.json"))
    found = practise(*words, *more)
    assert isinstance(found.exception, UserError)
    assert got in found.exception.message
