"""What was done and planned, results and totals: as data, round, refused where unsafe, undoable."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import TypeAdapter, ValidationError

from sidewise.errors import UserError
from sidewise.record import (
    CareEntry,
    Conclusion,
    Context,
    Finding,
    Injection,
    Record,
    parse_record,
    record_json,
)
from sidewise.record.care import (
    CARE_KINDS,
    DOSE_UNITS,
    INVESTIGATIONS,
    OUTCOMES,
    RELIEFS,
    SPEEDS,
    STEPS,
)
from sidewise.record.check import check_care
from sidewise.record.ledger import (
    Amended,
    Cared,
    Concluded,
    Entry,
    Found,
    Opened,
    Signed,
    Stated,
    Undone,
    fold_entries,
    ledger_digest,
    signatures_that_do_not_fit,
)
from sidewise.record.table import care_from_row, context_from_row, context_row
from tests.builders import BASE
from tests.shoulder import PROTOCOL, SHOULDER

AT = datetime(2026, 3, 2, 9, 41, tzinfo=UTC)
ADAPTER: TypeAdapter[CareEntry] = TypeAdapter(CareEntry)
INJECTED: dict[str, Any] = {
    "kind": "injection",
    "substances": [{"name": "triamcinolone", "dose": 40, "unit": "mg"},
                   {"name": "lidocaine 1%", "dose": 4, "unit": "ml"}],
    "place": "below the acromion", "side": "left", "side_again": "left", "consent": True,
    "allergy": "no", "blood_thinner": "no", "diabetes": "yes", "infection": "no",
}  # fmt: skip
words = st.text(min_size=1, max_size=40)
side = st.sampled_from(["left", "right", "both"])


def fields(fixed: dict[str, Any], **optional: Any) -> st.SearchStrategy[dict[str, Any]]:
    needed = {k: v if isinstance(v, st.SearchStrategy) else st.just(v) for k, v in fixed.items()}
    return st.fixed_dictionaries(needed, optional=optional)


number = st.floats(-1000, 1000, allow_nan=False)
investigation = st.builds(
    lambda one, count: {**one, **(count if one["outcome"] != "awaited" else {})},
    fields(
        {"kind": "investigation", "name": st.sampled_from(INVESTIGATIONS),
         "outcome": st.sampled_from(OUTCOMES)},
        side=side, taken_on=st.dates(date(2000, 1, 1)).map(date.isoformat),
    ),
    fields({"number": number, "unit": st.just("mg/l"), "report": words}) | st.just({}),
)  # fmt: skip
step = fields(
    {"kind": "step", "state": "planned", "name": st.sampled_from(STEPS), "detail": words,
     "to": words, "how_fast": st.sampled_from(SPEEDS), "in_weeks": st.floats(0, 520)},
    side=side,
)  # fmt: skip
response = fields(
    {"relief": st.sampled_from(RELIEFS), "after_minutes": st.floats(0, 1440)}
) | fields(
    {"relief": st.sampled_from(RELIEFS), "after_minutes": 10, "movement": "abduction",
     "degrees_before": st.floats(0, 180), "degrees_after": st.floats(0, 180)}
)  # fmt: skip
substance = fields(
    {"name": st.text(min_size=2, max_size=30), "dose": st.floats(0.001, 9999),
     "unit": st.sampled_from(DOSE_UNITS)}
)  # fmt: skip
injection = fields(
    {**INJECTED, "substances": st.lists(substance, min_size=1, max_size=5),
     "place": st.sampled_from(PROTOCOL.injection_places),
     "infection": st.sampled_from(["yes", "no", "unsure"]), "despite": words},
    flags=st.lists(st.sampled_from(["hot_swollen_joint", "systemic_symptoms"]), max_size=2),
    response=response, note=words, guided_by=st.sampled_from(["landmarks", "ultrasound"]),
)  # fmt: skip
score = fields(
    {"kind": "score", "name": st.text(min_size=2, max_size=30), "total": st.floats(0, 48),
     "low": 0, "high": 48},
    better=st.sampled_from(["higher", "lower"]),
)  # fmt: skip
DRAWN = {"investigation": investigation, "step": step, "injection": injection, "score": score}


def record_with(*care: dict[str, Any], **context: Any) -> Record:
    data = {"id": "r1", "region": "shoulder", "context": {**BASE, **context}, "care": care}
    return Record.model_validate(data)


def test_every_kind_of_entry_is_drawn() -> None:
    assert tuple(DRAWN) == CARE_KINDS
    assert len(DRAWN) == 4


@pytest.mark.parametrize("kind", CARE_KINDS)
@settings(max_examples=60)
@given(data=st.data())
def test_an_entry_comes_back_from_the_file_and_from_the_ledger(
    kind: str, data: st.DataObject
) -> None:
    one = record_with(data.draw(DRAWN[kind]))
    assert parse_record(record_json(one), {"shoulder": SHOULDER}).care == one.care
    entry = Entry(id="e1", at=AT, by="E1", deed=Cared(entry=one.care[0]))
    stored = json.loads(entry.model_dump_json())
    assert Entry.model_validate(stored) == entry


@pytest.mark.parametrize("kind", CARE_KINDS)
@settings(max_examples=40)
@given(data=st.data())
def test_an_entry_comes_back_from_its_row(kind: str, data: st.DataObject) -> None:
    one = record_with(data.draw(DRAWN[kind]))
    row = context_row(one)
    assert care_from_row(row) == one.care
    assert context_from_row(row) == one.context


def test_a_row_without_such_a_cell_has_none_and_another_text_is_refused() -> None:
    assert care_from_row({}) == care_from_row({"care": ""}) == ()
    assert context_row(record_with())["care"] is None
    for text in ("film", "[{}]", '[{"kind": "spell"}]', "{"):
        with pytest.raises(UserError, match=r"^care"):
            care_from_row({"care": text})


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"side_again": "right"}, "the same side twice"),
        ({"side_again": None}, "side_again"),
        ({"side": "both", "side_again": "both"}, "'left' or 'right'"),
        ({"consent": False}, "consent given before"),
        ({"infection": "yes"}, "although allergy or infection"),
        ({"infection": "unsure"}, "although allergy or infection"),
        ({"allergy": "yes"}, "although allergy or infection"),
        ({"allergy": None}, "allergy"),
        ({"blood_thinner": "not asked"}, "blood_thinner"),
        ({"diabetes": None}, "diabetes"),
        ({"substances": []}, "substances"),
        ({"substances": [{"name": "lidocaine", "dose": 0, "unit": "ml"}]}, "dose"),
        ({"substances": [{"name": "lidocaine", "dose": True, "unit": "ml"}]}, "dose"),
        ({"substances": [{"name": "lidocaine", "dose": 5, "unit": "cc"}]}, "unit"),
        ({"substances": [{"name": "lidocaine", "dose": 5}]}, "unit"),
        ({"response": {"relief": "all", "after_minutes": 10, "movement": "flexion"}}, "degrees"),
    ],
)  # fmt: skip
def test_an_injection_that_leaves_open_what_must_be_known_is_refused(
    change: dict[str, Any], said: str
) -> None:
    assert Injection.model_validate(INJECTED).side == "left"
    with pytest.raises(ValidationError, match=said):
        Injection.model_validate({**INJECTED, **change})


def test_a_side_said_twice_differently_is_named_with_its_place_in_the_file() -> None:
    text = json.dumps({"format": "sidewise-examination/1", "id": "r1", "region": "shoulder",
                       "context": BASE, "care": [{**INJECTED, "side_again": "right"}]})  # fmt: skip
    with pytest.raises(UserError, match=r"care\[0\]: .*expected the same side twice"):
        parse_record(text, {"shoulder": SHOULDER})
    broken = text.replace('"side_again": "right"', '"side_again": "middle"')
    with pytest.raises(UserError, match=r"care\[0\]\.side_again: got .*middle"):
        parse_record(broken, {"shoulder": SHOULDER})


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ({"kind": "step", "state": "planned", "name": "referral"}, "to whom and how fast"),
        ({"kind": "step", "state": "done", "name": "injection"}, "with its dose and its side"),
        ({"kind": "step", "state": "planned", "name": "next visit"}, "how many weeks"),
        ({"kind": "step", "state": "planned", "name": "other"}, "in words"),
        ({"kind": "investigation", "name": "radiograph", "outcome": "awaited", "report": "x"},
         "no report yet"),
        ({"kind": "investigation", "name": "uric acid", "outcome": "normal", "number": 300},
         "with its unit"),
        ({"kind": "score", "name": "a total", "total": 49, "low": 0, "high": 48}, "from 0 to 48"),
        ({"kind": "score", "name": "a total", "total": 1, "low": 5, "high": 5}, "below the high"),
    ],
)  # fmt: skip
def test_what_does_not_fit_together_is_refused(entry: dict[str, Any], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        ADAPTER.validate_python(entry)


def test_a_place_or_movement_that_the_region_does_not_have_is_refused() -> None:
    elsewhere = Injection.model_validate({**INJECTED, "place": "the knee"})
    with pytest.raises(UserError, match=r'place: got "the knee", expected one of below the acr'):
        check_care(elsewhere, PROTOCOL)
    moved = {"relief": "all", "after_minutes": 10, "movement": "grip_power",
             "degrees_before": 60, "degrees_after": 120}  # fmt: skip
    with pytest.raises(UserError, match="a movement that is read in degrees"):
        check_care(Injection.model_validate({**INJECTED, "response": moved}), PROTOCOL)


# --- in the ledger ---


def entry(name: str, deed: Any) -> Entry:
    return Entry(id=name, at=AT, by="E1", deed=deed)


OPEN = entry("e0", Opened(region="shoulder", context=Context.model_validate(BASE)))
PLANNED = ADAPTER.validate_python({"kind": "step", "state": "planned", "name": "radiograph"})
AWAITED = ADAPTER.validate_python(
    {"kind": "investigation", "name": "radiograph", "outcome": "awaited"}
)
SEEN = ADAPTER.validate_python(
    {"kind": "investigation", "name": "radiograph", "outcome": "normal", "side": "left"}
)


def test_entries_stand_side_by_side_until_one_is_replaced_or_taken_back() -> None:
    entries = [OPEN, entry("e1", Cared(entry=PLANNED)), entry("e2", Cared(entry=AWAITED))]
    assert fold_entries("r1", entries).record.care == (PLANNED, AWAITED)
    entries.append(entry("e3", Cared(entry=SEEN, replaces=("e2",))))
    assert fold_entries("r1", entries).record.care == (PLANNED, SEEN)
    entries.append(entry("e4", Undone(entries=("e3",))))
    folded = fold_entries("r1", entries)
    assert folded.record.care == (PLANNED, AWAITED)
    assert tuple(folded.care) == ("e1", "e2")


def test_an_amended_record_keeps_what_was_done_at_the_signed_revision() -> None:
    entries = [OPEN, entry("e1", Cared(entry=PLANNED)), entry("e2", Signed()),
               entry("e3", Amended(reason="the film came")),
               entry("e4", Cared(entry=SEEN))]  # fmt: skip
    found = fold_entries("r1", entries).record
    assert (found.earlier[0].care, found.care) == ((PLANNED,), (PLANNED, SEEN))
    with pytest.raises(UserError, match="an amendment with a reason first"):
        fold_entries("r1", [*entries[:3], entries[4]])


def test_signatures_of_before_there_was_any_of_this_still_fit() -> None:
    # The digest was computed by the version before these fields were there.
    context = {"patient": "DUNLIN-4", "examined_at": "2026-03-02T09:40:00+00:00", "examiner": "E1",
               "known": {"left": {"tear": True}}, "scales": {"spadi_total": 40}}  # fmt: skip
    flexion = {"item": "flexion", "side": "left", "mode": "active",
               "value": {"kind": "normal_by_eye"}}  # fmt: skip
    behind = {"item": "internal_rotation_behind_back", "side": "left", "mode": "active",
              "value": {"kind": "level", "level": "T8"}}  # fmt: skip
    arc = {"item": "painful_arc", "side": "left", "value": {"kind": "arc", "from": 60, "to": 110}}
    found = (Found(finding=Finding.model_validate(one)) for one in (flexion, behind, arc))
    deeds = [
        Opened(region="shoulder", context=Context.model_validate(context)),
        Stated(field="known.right", value=["surgery"]),
        *found,
        Concluded(conclusion=Conclusion(impression="cuff", plan=("film",))),
    ]
    entries = [entry(f"e{number}", deed) for number, deed in enumerate(deeds)]
    digest = "c418e765ff5ec2d6773937d8a439256ad546129068529a94e00e58d55836f518"
    assert ledger_digest(entries) == digest
    assert signatures_that_do_not_fit([*entries, entry("e9", Signed(ledger=digest))]) == []


def test_a_side_known_to_be_arthritic_or_once_dislocated_is_no_yardstick() -> None:
    for word in ("arthritis", "dislocation"):
        deed = Stated(field="known.right", value=word)
        record = fold_entries("r1", [OPEN, entry("e1", deed)]).record
        assert getattr(record.context.known.right, word) is True
        assert not record.is_yardstick("right")
    assert fold_entries("r1", [OPEN]).record.is_yardstick("right")
