"""A region's ladder and aspects: in files as ever, and refused where the region has none such."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from sidewise.kinds.common.vocabulary import Vocabulary, join_vocabularies
from sidewise.protocol import Protocol
from sidewise.record import Context, Record, parse_record, record_json
from tests.builders import BASE, positive
from tests.shoulder import PROTOCOL, REGIONS


def test_words_of_several_regions_stand_once_each_in_the_order_met() -> None:
    one = Vocabulary(("a", "b"), (("pain", "pain"), ("wing", "winging")))
    other = Vocabulary(("b", "c"), (("clunk", "clunk"), ("pain", "ache")))
    every = join_vocabularies([one, other])
    assert every.ladder == ("a", "b", "c")
    assert every.aspects == (("pain", "pain"), ("wing", "winging"), ("clunk", "clunk"))


def test_a_field_that_is_no_aspect_is_refused_with_what_could_stand_there() -> None:
    with pytest.raises(ValidationError, match="true or false for what was reproduced"):
        positive("neer", "left", lag_degres=12)


def test_aspects_stand_in_the_file_as_yes_or_no_beside_the_result() -> None:
    one = positive("external_rotation_lag", "left", weakness=None, lag=True, lag_degrees=12)
    record = Record(id="r", region="shoulder", context=Context.model_validate(BASE),
                    findings=(one,))  # fmt: skip
    text = record_json(record, indent=None)
    assert '{"kind": "result", "result": "positive", "lag_degrees": 12.0, "lag": true}' in text
    assert parse_record(text, REGIONS) == record


def test_equal_results_are_equal_in_whatever_order_they_were_written() -> None:
    one = positive("neer", "left", pain=True, tingling=False)
    other = positive("neer", "left", tingling=False, pain=True, wing=None)
    assert one == other
    assert one.model_dump_json() == other.model_dump_json()


def test_a_region_without_a_ladder_has_no_levels() -> None:
    level = PROTOCOL.item("internal_rotation_behind_back").model_dump()
    level["kinds"] = [{"kind": "level"}]
    empty = {
        "structures": (),
        "stages": PROTOCOL.stages,
        "history": (),
        "vitals": (),
        "readings": (),
    }
    with pytest.raises(ValidationError, match="a level needs a region with a ladder"):
        Protocol(region="x", label="x", items=({**level, "structures": ()},), **empty)  # type: ignore[arg-type]
