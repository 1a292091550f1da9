"""The template of the validity argument: figures in, questions open, nothing concluded."""

from __future__ import annotations

from pathlib import Path

from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.teaching.report.answers import reliability_of
from sidewise.teaching.report.validity import validity_argument, validity_text
from sidewise.teaching.sitting.sitting import Sitting
from tests.teaching.conftest import EXAMPLES


def test_the_four_inferences_in_order(result: Sitting) -> None:
    names = [i.name for i in validity_argument(result)]
    assert names == ["Scoring", "Generalisation", "Extrapolation", "Implications"]


def test_every_inference_leaves_questions_open(result: Sitting) -> None:
    assert all(i.questions for i in validity_argument(result))
    text = " ".join(validity_text(result).split())
    assert text.count("[to be answered]") == 2 + sum(
        len(i.questions) for i in validity_argument(result)
    )


def test_figures_are_those_of_the_report(result: Sitting) -> None:
    said = " ".join(validity_text(result).split())
    assert f"Reliability of the total {reliability_of(result).text()}" in said
    assert "Rules in force: total at or above" in said
    assert "Nothing in a table of marks shows this." in said


def test_it_is_a_page(result: Sitting) -> None:
    lines = validity_text(result).splitlines()
    # A page of A4 in a typewriter's lines: common practice, no source.
    assert len(lines) <= 66
    assert max(map(len, lines)) <= 88


def test_the_command_writes_it(tmp_path: Path) -> None:
    path = tmp_path / "argument.txt"
    week = str(EXAMPLES / "teaching_week_marks.csv")
    done = CliRunner().invoke(app, ["marks", week, "--argument", str(path)])
    assert done.exit_code == 0
    assert "GENERALISATION" in path.read_text(encoding="utf-8")
