"""Every kind: a value survives the file, the long table and the typed line, and is as it was."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sidewise.exchange.tables.wide import finding_rows, wide_cells
from sidewise.kinds import KINDS, NAMES, kind_of
from sidewise.kinds.reduced_by_eye import LEFT
from sidewise.knowledge.region import Region
from sidewise.note.phrases import value_phrase
from sidewise.protocol import Protocol
from sidewise.record import Context, Finding, Record, is_normal, parse_record, record_json
from sidewise.record.line import read_line, write_line
from sidewise.record.table import finding_from_row, finding_row, table_columns
from tests.builders import BASE

WORDS = st.text(min_size=1, max_size=30)
MAYBE = st.none() | st.booleans()


def fields(fixed: dict[str, Any], **optional: Any) -> st.SearchStrategy[dict[str, Any]]:
    """Values with these fields, and any of the optional ones."""
    needed = {name: st.just(given) if isinstance(given, str) else given
              for name, given in fixed.items()}  # fmt: skip
    return st.fixed_dictionaries(needed, optional=optional)


def number(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


def arc() -> st.SearchStrategy[dict[str, Any]]:
    ends = st.tuples(number(0, 180), number(0, 180)).map(sorted)
    plain = st.sampled_from([{"painless": True}, {"painful": True}])
    return ends.map(lambda two: {"from": two[0], "to": two[1]}) | plain


def level() -> st.SearchStrategy[dict[str, Any]]:
    reached = fields({"level": st.sampled_from(["post", "T7", "beam"])}, pain=MAYBE)
    return reached | fields({"lower_by": st.integers(1, 2)}, pain=MAYBE)


def reduced() -> st.SearchStrategy[dict[str, Any]]:
    feel = st.sampled_from(["firm", "not reached", None])
    return fields({"range": st.sampled_from(LEFT)}, pain=MAYBE, end_feel=feel)


def result() -> st.SearchStrategy[dict[str, Any]]:
    where = st.sampled_from(["above", "below"])
    there = fields({"pain": st.booleans()}, lag=st.booleans(), where=where)
    lag = fields({"lag": st.just(True), "lag_degrees": number(0, 180)}, pain=st.booleans())
    some = st.tuples(st.sampled_from(["positive", "equivocal"]), there | lag)
    negative = fields({"result": "negative"}, pain=st.just(False), lag=st.just(False))
    return some.map(lambda two: {"result": two[0], **two[1]}) | negative


def lines() -> st.SearchStrategy[str]:
    points = st.tuples(st.integers(-9999, 9999), st.integers(-9999, 9999))
    return st.lists(points, min_size=1, max_size=9).map(
        lambda line: " ".join(f"{x},{y}" for x, y in line)
    )


VALUES: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "sign": fields({"grade": st.sampled_from(["absent", "slight", "marked", "present"])},
                   place=st.sampled_from(["here", "there"])),
    "normal_by_eye": fields({}, pain=MAYBE),
    "reduced_by_eye": reduced(),
    "tenderness": fields({"grade": st.integers(0, 3)}, familiar=MAYBE),
    "angle": fields(
        {"degrees": number(0, 180)}, pain=MAYBE, sd=st.none() | number(0, 90), position=WORDS,
        instrument=st.sampled_from(["goniometer", "eye", None]),
        end_feel=st.sampled_from(["firm", "not reached", None]),
    ),
    "arc": arc(),
    "level": level(),
    "length": fields({"cm": number(0, 60)}),
    "seconds": fields({"seconds": number(0, 180)}) | st.just({"none": True}),
    "count": fields({"count": st.integers(0, 30)}),
    "mrc": fields({"grade": st.sampled_from(["0", "3", "4-", "4", "4+", "5", "reduced"])},
                  limited_by_pain=st.booleans()),
    "force": fields({"newtons": number(0, 1500)}, limited_by_pain=st.booleans(),
                    instrument=st.sampled_from(["dynamometer", None])),
    "result": result(),
    "choice": fields({"choice": st.sampled_from(["even", "odd"])}),
    "place": fields({"what": st.text(min_size=2, max_size=80)}, x=number(0, 1), y=number(0, 1),
                    view=st.sampled_from(["front", "left side"]), structure=WORDS)
             | fields({"what": "scar", "view": "front", "drawn": lines()}),
    "reflex": fields({"reflex": st.sampled_from(["absent", "brisk", "brisk with spread"])}),
    "sensation": fields({"sensation": st.sampled_from(["normal", "heightened"])},
                        to=st.sampled_from(["light touch", "pinprick", None])),
    "pulse": fields({"pulse": st.sampled_from(["normal", "weak", "absent"])}),
    "vital": fields({"number": number(40, 300)}),
    "text": fields({"text": WORDS}),
}  # fmt: skip

RANDOM = settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])


def finding(kind: str, value: dict[str, Any], side: str = "left") -> Finding:
    data = {"item": f"gate_{kind}", "side": side, "value": {"kind": kind, **value}}
    return Finding.model_validate(data)


def test_every_kind_is_drawn() -> None:
    assert list(VALUES) == list(NAMES)
    assert len(VALUES) == 20


@pytest.mark.parametrize("kind", NAMES)
@RANDOM
@given(data=st.data())
def test_a_value_comes_back_from_the_file(
    kind: str, gate_region: Region, data: st.DataObject
) -> None:
    found = finding(kind, data.draw(VALUES[kind]))
    record = Record(id="r1", region="gate", context=Context.model_validate(BASE), findings=(found,))
    assert parse_record(record_json(record), {"gate": gate_region}).findings == (found,)


@pytest.mark.parametrize("kind", NAMES)
@RANDOM
@given(data=st.data())
def test_a_value_comes_back_from_its_row(kind: str, gate: Protocol, data: st.DataObject) -> None:
    found = finding(kind, data.draw(VALUES[kind]))
    words = gate.vocabulary
    row = finding_row("r1", found, words)
    assert tuple(row) == table_columns(words)
    assert finding_from_row(row, words) == found


@pytest.mark.parametrize("kind", NAMES)
@settings(RANDOM, max_examples=25)
@given(data=st.data())
def test_a_value_comes_back_from_its_wide_columns(
    kind: str, gate: Protocol, data: st.DataObject
) -> None:
    several = [finding(kind, data.draw(VALUES[kind])) for _ in range(2)]
    words = gate.vocabulary
    rows = finding_rows("r1", wide_cells(several, words), words)
    assert [finding_from_row(row, words) for row in rows] == several


@pytest.mark.parametrize("kind", NAMES)
@RANDOM
@given(data=st.data())
def test_a_value_comes_back_from_its_line(
    kind: str, gate_region: Region, data: st.DataObject
) -> None:
    found = finding(kind, data.draw(VALUES[kind]))
    reading = read_line(write_line(found, gate_region), gate_region)
    assert reading.whole, reading
    assert reading.findings == (found,)


@pytest.mark.parametrize("kind", NAMES)
@RANDOM
@given(data=st.data())
def test_a_value_has_words_and_a_normal_or_none(
    kind: str, gate: Protocol, data: st.DataObject
) -> None:
    found, item = finding(kind, data.draw(VALUES[kind])), gate.item(f"gate_{kind}")
    assert found.value is not None
    assert value_phrase(found.value, item)
    assert is_normal(found, item.kind(kind)) in (True, False, None)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", NAMES)
@RANDOM
@given(data=st.data())
def test_every_touch_offered_is_a_value_that_its_item_takes(
    kind: str, gate: Protocol, data: st.DataObject
) -> None:
    from sidewise.record import check_finding

    found, limits = finding(kind, data.draw(VALUES[kind])), gate.item(f"gate_{kind}").kind(kind)
    assert found.value is not None
    now = found.value.model_dump(mode="json", by_alias=True, exclude_none=True)
    for touch in kind_of(limits).bedside.touches(limits, now):
        value = {name: part for name, part in touch.value.items() if part is not None}
        check_finding(finding(kind, {**value}), gate)


@pytest.mark.parametrize("kind", NAMES)
def test_what_is_normal_by_one_touch_is_normal(kind: str, gate: Protocol) -> None:
    limits = gate.item(f"gate_{kind}").kind(kind)
    normal = KINDS[kind].bedside.normal(limits)
    if normal is not None:
        assert is_normal(finding(kind, normal), limits) is True  # type: ignore[arg-type]
    assert (normal is None) == (kind in NO_NORMAL)


NO_NORMAL = {
    "angle",
    "reduced_by_eye",
    "level",
    "length",
    "count",
    "force",
    "place",
    "vital",
    "text",
}
