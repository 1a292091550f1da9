"""What commands print as JSON, against the schemas that ship; the schemas, against the results."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import yaml
from jsonschema import Draft202012Validator
from typer.main import get_command
from typer.testing import CliRunner

from sidewise import cli
from sidewise.errors import UserError
from sidewise.schemas import FORMATS, file_name, schema_of
from sidewise.schemas.build import all_schemas
from tests.shoulder import REGIONS

ROOT = Path(__file__).parents[2]
EXAMPLES = ROOT / "examples"
EXAMINATIONS = sorted(EXAMPLES.glob("*.json"))
VISITS = EXAMPLES / "visits"
WEEK = EXAMPLES / "marks"
LINES = ("Neer R pos", "elevation R passive 110 goniometer; nonsense words here", "Neer", ";x y z")
JUDGES = ("--method", "angoff", "--angoff", str(WEEK / "teaching_week_judges.csv"))
CALLS: dict[str, list[list[str]]] = {
    "interpret": [[str(path), "--draws", "100"] for path in EXAMINATIONS],
    "follow": [[str(path) for path in sorted(VISITS.glob(f"{who}_*.json"))]
               for who in ("heron", "plover")],
    "plan": [
        ["--minutes", "3", "--for", str(EXAMPLES / "frozen.json")],
        ["--minutes", "5", "--for", str(EXAMPLES / "hot-joint.json")],
    ],
    "read-line": [[line] for line in LINES],
    "marks": [
        [str(WEEK / "teaching_week_marks.csv"), "--draws", "100"],
        [str(WEEK / "teaching_week_marks.csv"), "--draws", "0", *JUDGES],
        [str(WEEK / "teaching_week_incomplete_marks.csv"), "--draws", "0"],
        [str(WEEK / "teaching_week_unlinked_marks.csv"), "--draws", "0"],
    ],
    "agree": [[str(WEEK / "teaching_week_findings.csv")]],
    "check": [[str(path) for path in EXAMINATIONS], [str(WEEK / "teaching_week_marks.csv")]],
    "sources": [["neer"], ["upper_cut"], ["hands_cleaned"], ["neer_pain"]],
    "timetable": [[str(EXAMPLES / "circuits" / "day.yaml")]],
}  # fmt: skip


@cache
def validator(name: str) -> Draft202012Validator:
    schema = schema_of(name)
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def printed(command: str, words: list[str]) -> Any:
    found = CliRunner().invoke(cli.app, [command, *words, "--json"])
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        raise found.exception
    assert found.exit_code in (0, 1), found.output
    return json.loads(found.stdout)


def test_every_command_with_json_is_swept() -> None:
    commands = get_command(cli.app).commands  # type: ignore[attr-defined]
    with_json = {
        name
        for name, command in commands.items()
        if any("--json" in parameter.opts for parameter in command.params)
    }
    # `practise` has to be played: tests/practice/test_practise_command.py holds it to its schema;
    # `verify` needs a data folder: tests/commands/test_anywhere.py.
    assert with_json == {*CALLS, "practise", "verify"}
    assert sum(map(len, CALLS.values())) == len(EXAMINATIONS) + 20 == 32


@pytest.mark.parametrize("command", CALLS)
def test_what_is_printed_is_what_the_schema_says(command: str) -> None:
    for words in CALLS[command]:
        document = printed(command, words)
        validator(document["format"]).validate(document)


def test_every_example_is_an_examination_of_the_schema() -> None:
    paths = [*EXAMINATIONS, *sorted(VISITS.glob("*.json"))]
    for path in paths:
        validator("sidewise-examination/1").validate(json.loads(path.read_text(encoding="utf-8")))
    assert len(paths) == 17


def test_what_a_teacher_writes_is_what_the_schemas_say() -> None:
    swept = 0
    for path in sorted([*EXAMPLES.glob("stations/*.yaml"), *EXAMPLES.glob("circuits/*.yaml")]):
        # As another program would hold it: times are text in JSON.
        plain = yaml.safe_load(path.read_text(encoding="utf-8"))
        document = json.loads(json.dumps(plain, default=lambda when: when.isoformat()))
        validator(document["format"]).validate(document)
        swept += 1
    assert swept == 4


@pytest.mark.parametrize("name", FORMATS)
def test_a_schema_refuses_what_a_document_never_holds(name: str) -> None:
    assert not validator(name).is_valid({})
    assert not validator(name).is_valid({"format": "another/1"})


def test_a_field_too_many_or_too_few_is_refused() -> None:
    document = printed("interpret", [str(EXAMINATIONS[0]), "--draws", "100"])
    check = validator("sidewise-interpretation/1")
    assert not check.is_valid({**document, "hidden": 1})
    for field in document:
        assert not check.is_valid({key: value for key, value in document.items() if key != field})


@pytest.mark.parametrize("place", ["src/sidewise/schemas", "docs/schema"])
def test_shipped_and_published_schemas_are_those_of_the_results(place: str) -> None:
    assert len(REGIONS) >= 1
    made = all_schemas()
    for name, schema in made.items():
        path = ROOT / place / file_name(name)
        assert json.loads(path.read_text(encoding="utf-8")) == schema, (
            f"python -m sidewise.schemas.build {place}"
        )
    assert {path.name for path in (ROOT / place).glob("*.json")} == set(map(file_name, made))


def test_an_unknown_format_names_those_there_are() -> None:
    with pytest.raises(UserError, match=r'format: got "x/1", expected one of sidewise-exam'):
        schema_of("x/1")
