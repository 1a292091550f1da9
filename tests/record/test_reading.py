"""Bad input: each a clear message, nothing kept. Good input comes back the same."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

from sidewise.errors import UserError
from sidewise.record import parse_record, read_record, record_document, record_json, record_schema
from tests.shoulder import REGIONS, WORDS

EXAMPLES = sorted(Path(__file__).parents[2].glob("examples/*.json"))
GOOD = {
    "format": "sidewise-examination/1",
    "id": "r1",
    "region": "shoulder",
    "context": {
        "patient": "HERON-1",
        "examined_at": "2026-03-02T09:40:00+00:00",
        "examiner": "E1",
    },
    "findings": [],
}


def document(finding: dict[str, object] | None = None, **changes: object) -> str:
    data = {**GOOD, **changes}
    if finding is not None:
        data["findings"] = [finding]
    return json.dumps(data)


def angle(**more: object) -> dict[str, object]:
    value = {"kind": "angle", "degrees": 15, "instrument": "goniometer"}
    base = {"item": "external_rotation_at_side", "side": "left", "mode": "passive"}
    return {**base, "value": value, **more}


CASES = {
    "unknown item": (
        document(angle(item="extrenal_rotation_at_side")),
        "Did you mean external_rot",
    ),
    "unknown field": (document(angle(degrees=15)), "only the fields of the format"),
    "wrong side": (document(angle(side="links")), "one of 'left'"),
    "paired without side": (
        document({k: v for k, v in angle().items() if k != "side"}),
        "findings[0].side: got nothing",
    ),
    "unpaired with side": (
        document({"item": "gait", "side": "left", "value": {"kind": "choice", "choice": "even"}}),
        '"midline" or no side',
    ),
    "missing mode": (
        document({k: v for k, v in angle().items() if k != "mode"}),
        "one of active, passive",
    ),
    "impossible number": (
        document(angle(value={"kind": "angle", "degrees": 1650})),
        "findings[0].value.degrees: got 1650, expected degrees from -180 to 360",
    ),
    "beyond the joint": (
        document(angle(value={"kind": "angle", "degrees": 170})),
        "degrees from -60 to 120",
    ),
    "wrong kind": (
        document(angle(value={"kind": "mrc", "grade": "4"})),
        'findings[0].value.kind: got "mrc"',
    ),
    "unknown kind": (document(angle(value={"kind": "angel"})), "findings[0].value.kind"),
    "wrong format": (document(format="other/2"), "This is not an examination"),
    "no zone": (
        document(context={**GOOD["context"], "examined_at": "2026-03-02T09:40:00"}),
        "context.examined_at",
    ),
    "unknown question": (
        document(context={**GOOD["context"], "history": {"feever": "yes"}}),
        "Did you mean fever",
    ),
    "impossible temperature": (
        document(context={**GOOD["context"], "vitals": {"temperature": 386}}),
        "Check the unit",
    ),
    "unknown region": (document(region="tail"), 'region: got "tail"'),
    "not JSON": ("{", "valid JSON"),
    "empty": ("  ", "an empty file"),
    "a list": ("[]", "a JSON object"),
    "NaN": (document(angle()).replace("15", "NaN"), "numbers that are numbers"),
    "a field twice": (document().replace('"id"', '"format"', 1), "the same field twice"),
    "deep nesting": ("[" * 100_000, "JSON"),
}


@pytest.mark.parametrize("name", CASES)
def test_bad_input_is_refused_with_its_place(name: str) -> None:
    text, message = CASES[name]
    with pytest.raises(UserError) as caught:
        parse_record(text, REGIONS)
    assert message in caught.value.message
    assert len(caught.value.message.splitlines()) <= 24


def test_every_error_of_a_file_is_listed_at_once() -> None:
    bad = [angle(side="up"), angle(mode="up"), angle(value={"kind": "angle", "degrees": 900})]
    with pytest.raises(UserError) as caught:
        parse_record(json.dumps({**GOOD, "findings": bad}), REGIONS)
    assert all(f"findings[{place}]" in caught.value.message for place in range(3))


def test_a_folder_a_missing_and_a_huge_file_are_refused(tmp_path: Path) -> None:
    huge = tmp_path / "huge.json"
    huge.write_bytes(b" " * 6_000_000)
    for path, message in ((tmp_path, "a folder"), (tmp_path / "no", "no such file"), (huge, "MB")):
        with pytest.raises(UserError, match=message):
            read_record(path, REGIONS)


def test_a_file_that_may_not_be_read_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError

    monkeypatch.setattr(Path, "open", refused)
    with pytest.raises(UserError, match="no permission to read it"):
        read_record("exam.json", REGIONS)


def test_text_that_is_not_utf8_is_refused() -> None:
    with pytest.raises(UserError, match="not UTF-8"):
        parse_record(b"\xff\xfe{", REGIONS)


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_an_example_is_valid_and_reads_back_the_same(path: Path) -> None:
    record = read_record(path, REGIONS)
    assert parse_record(record_json(record), REGIONS) == record


def test_the_published_schema_accepts_every_example() -> None:
    schema = record_schema(WORDS)
    validator = jsonschema.Draft202012Validator(schema)
    for path in EXAMPLES:
        validator.validate(json.loads(path.read_text()))
        validator.validate(record_document(read_record(path, REGIONS)))
    assert len(EXAMPLES) >= 10


def test_the_published_schema_refuses_what_the_reader_refuses() -> None:
    validator = jsonschema.Draft202012Validator(record_schema(WORDS))
    bad = json.loads(document(angle(degrees=15)))
    assert not validator.is_valid(bad)


def test_the_schema_in_the_docs_is_this_one() -> None:
    published = Path(__file__).parents[2] / "docs/schema/sidewise-examination-1.json"
    assert json.loads(published.read_text()) == record_schema(WORDS)
