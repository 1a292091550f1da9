"""An invented kind from record to page; run in a copy of the package that has it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from uuid import uuid4

import pytest

from sidewise.errors import UserError
from sidewise.kinds import KINDS
from sidewise.note.phrases import place_is_normal, place_phrase
from sidewise.protocol import protocol_of
from sidewise.record import Context, Finding, Record, parse_record, record_json, record_schema
from sidewise.record.line import read_line, write_line
from sidewise.record.table import finding_from_row, finding_row, findings_frame, table_columns
from sidewise.regions import regions
from sidewise.web.examinations.store import open_examination
from tests.builders import BASE
from tests.web.cast import Cast
from tests.web.conftest import cast, quick  # noqa: F401 - the fixtures of every page test

ITEM = "gate_warmth"
GATE = regions()["gate"]
REGIONS = {"gate": GATE}
WORDS = protocol_of(GATE).vocabulary


def warm(above: float, below: float, side: str = "left") -> Finding:
    value = {"kind": "warmth", "above": above, "below": below}
    return Finding.model_validate({"item": ITEM, "side": side, "value": value})


def record(*findings: Finding) -> Record:
    return Record(id="r1", region="gate", context=Context.model_validate(BASE), findings=findings)


def test_there_is_one_kind_more():
    assert len(KINDS) == 21


def test_it_comes_back_from_the_file():
    one = record(warm(31.5, 33))
    assert parse_record(record_json(one), REGIONS) == one
    assert "WarmthValue" in record_schema(WORDS)["$defs"]


def test_a_value_beyond_the_limits_is_refused_in_four_parts():
    with pytest.raises(UserError) as error:
        parse_record(record_json(record(warm(31.5, 12))), REGIONS)
    assert error.value.message == (
        "findings[0].value.below: got 12.0, expected degrees Celsius from 15 to 45.\n"
        "Check for a missing decimal point or a slipped digit."
    )


def test_it_is_normal_within_what_the_item_sets():
    item = protocol_of(GATE).item(ITEM)
    assert place_is_normal(record(warm(32, 33)), item, "left")
    assert not place_is_normal(record(warm(32, 33.1)), item, "left")


def test_it_has_its_words():
    item = protocol_of(GATE).item(ITEM)
    assert place_phrase(record(warm(31.5, 33)), item, "left") == "31.5 °C above, 33 °C below"
    assert place_phrase(record(), item, "left") == "not examined"


def test_two_of_it_at_one_place_contradict():
    assert len(record(warm(31.5, 33), warm(31.5, 34)).conflicts) == 1
    assert warm(31.5, 33).takes_the_place_of(warm(30, 34))


def test_it_is_typed_and_written_back():
    reading = read_line("gate warmth L 31.5 to 33, R 32-32", GATE)
    assert reading.whole
    assert reading.findings == (warm(31.5, 33), warm(32, 32, "right"))
    assert write_line(warm(31.5, 33), GATE) == "gate warmth left 31.5 to 33"


def test_it_has_its_columns_in_the_table():
    row = finding_row("r1", warm(31.5, 33), WORDS)
    assert (row["kind"], row["above"], row["below"]) == ("warmth", 31.5, 33)
    assert finding_from_row(row, WORDS) == warm(31.5, 33)
    assert table_columns(WORDS)[-2:] == ("above", "below")
    assert list(findings_frame([record(warm(31.5, 33))], WORDS).columns) == list(
        table_columns(WORDS)
    )


@pytest.fixture
def gate(cast: Cast) -> Cast:  # noqa: F811
    context = Context.model_validate({**BASE, "examiner": "OWNER"})
    cast.examination = open_examination(
        cast.patient, cast.owner, "gate", context, uuid4().hex, datetime.now(UTC)
    )
    return cast


def page_of(gate: Cast) -> str:
    address = f"/examinations/{gate.examination.pk}/stage/look/"
    return str(gate.client("owner").get(address).content.decode())


def sent(gate: Cast, **fields: str) -> tuple[int, str]:
    form = {"places": f"{ITEM} left", "kind": "warmth",
            **{f"warmth.{name}": text for name, text in fields.items()}}  # fmt: skip
    answer = gate.client("owner").post(f"/examinations/{gate.examination.pk}/record/", form)
    return answer.status_code, answer.content.decode()


def test_the_page_has_its_form_and_shows_what_was_recorded(gate):
    assert 'name="warmth.above"' in page_of(gate)
    assert sent(gate, above="31.5", below="33")[0] == 302
    assert "31.5 °C above, 33 °C below" in page_of(gate)
    file = gate.client("owner").get(f"/examinations/{gate.examination.pk}/file/").content
    (found,) = json.loads(file)["findings"]
    assert found["value"] == {"kind": "warmth", "above": 31.5, "below": 33.0}


def test_the_form_says_what_is_wrong_in_its_own_words(gate):
    status, text = sent(gate, above="31.5")
    assert status == 422
    assert "the warmth below: got nothing" in text
    assert sent(gate, above="31.5", below="12")[0] == 422
