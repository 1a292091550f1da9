"""`sidewise read-line`: exit status, what is shown, and the JSON."""

from __future__ import annotations

import json

import pytest
from typer.testing import CliRunner

from sidewise.cli import app
from sidewise.errors import UserError
from sidewise.record import Finding

runner = CliRunner()


@pytest.mark.parametrize(
    ("line", "status"),
    [("Neer R pos", 0), ("Neer R pos; ER 15", 1), ("Neer R pos; blob", 1), ("", 2), (" ; \n", 2)],
)
def test_the_status_says_how_much_was_understood(line: str, status: int) -> None:
    result = runner.invoke(app, ["read-line", line])
    shown = 2 if isinstance(result.exception, UserError) else result.exit_code
    assert shown == status


def test_each_part_is_shown_under_its_heading() -> None:
    result = runner.invoke(app, ["read-line", "Neer R pos; ER L 15; blob"])
    heads = [line[:16].strip() for line in result.output.splitlines()]
    assert heads == ["read", "to be asked", "not understood"]


def test_json_findings_are_those_of_a_record() -> None:
    result = runner.invoke(app, ["read-line", "grip L 120 N", "--json"])
    document = json.loads(result.output)
    (finding,) = [Finding.model_validate(entry) for entry in document["findings"]]
    assert document["format"] == "sidewise-line/1"
    assert (finding.item, finding.side) == ("grip_power", "left")
    assert finding.instrument is None


def test_json_has_places_for_questions_and_unknown_words() -> None:
    document = json.loads(runner.invoke(app, ["read-line", "AC tender R; blob", "--json"]).output)
    (question,) = document["questions"]
    (unread,) = document["not_understood"]
    assert (question["start"], question["end"]) == (0, 11)
    assert [choice["label"][0] for choice in question["choices"]] == ["1", "2", "3"]
    assert (unread["start"], unread["text"]) == (13, "blob")


def test_standard_input_is_read_for_a_dash() -> None:
    result = runner.invoke(app, ["read-line", "-"], input="Neer R pos\nER passive L 15\n")
    assert result.exit_code == 0
    assert len(result.output.splitlines()) == 2


def test_what_is_not_text_is_refused() -> None:
    result = runner.invoke(app, ["read-line", "-"], input=b"\xff\xfe")
    assert "not UTF-8" in str(result.exception)
