"""FHIR R4: what we write is as HL7 says, comes back exactly, and a stranger's is read."""

from __future__ import annotations

import copy
import json
import re
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from fhir.resources.R4B import get_fhir_model_class
from fhirpathpy import evaluate
from fhirpathpy.models import models
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.exchange.fhir.bundle import bundle_faults, bundle_json, document_bundle
from sidewise.exchange.fhir.definitions import INVARIANTS, faults_of
from sidewise.exchange.fhir.names import OURS, UCUM
from sidewise.exchange.fhir.observation import finding_from_observation, observation
from sidewise.exchange.fhir.reading import LIMIT_BYTES, parse_bundle
from sidewise.kinds import NAMES
from sidewise.protocol.outside_codes import outside_codes_of, read_outside_codes
from sidewise.reason import interpret
from sidewise.record import Record, read_record
from sidewise.record.model import Conclusion, Finding, Revision, Signature
from tests.builders import BASE, angle, negative, record, unable
from tests.kinds.test_round_trips import RANDOM, VALUES, finding
from tests.shoulder import PROTOCOL, REGIONS, SHOULDER

ROOT = Path(__file__).parents[2]
HL7 = ROOT / "tests" / "data" / "hl7_r4"
DEFINITIONS = json.loads(
    (ROOT / "src/sidewise/exchange/fhir/definitions.json").read_text(encoding="utf-8")
)
NAMES_OF_EXAMPLES = ("frozen", "hot-joint", "visits/plover_visit2")


def bundle_of(one: Record) -> dict[str, Any]:
    return document_bundle(one, interpret(one, SHOULDER, draws=100), SHOULDER)


@pytest.fixture(scope="module")
def examples() -> dict[str, tuple[Record, dict[str, Any]]]:
    read = {n: read_record(ROOT / "examples" / f"{n}.json", REGIONS) for n in NAMES_OF_EXAMPLES}
    return {name: (one, bundle_of(one)) for name, one in read.items()}


def signed_and_amended() -> Record:
    one = record(angle("flexion", "left", 90, "active"), negative("neer", "left"))
    signature = Signature.model_validate({"by": "E1", "at": "2026-03-02T10:00:00+00:00"})
    old = Revision.model_validate(
        {"number": 1, "context": one.context, "findings": one.findings, "signed": signature,
         "amended_by": "E2", "amended_at": "2026-03-03T10:00:00+00:00", "reason": "wrong side"}
    )  # fmt: skip
    later = Signature.model_validate({"by": "E2", "at": "2026-03-03T11:00:00+00:00"})
    words = Conclusion(impression="a stiff shoulder", plan=("a film", "back in 6 weeks"))
    return one.model_copy(
        update={"signed": later, "earlier": (old,), "revision": 2, "conclusion": words}
    )


# What is written


def test_the_examples_are_as_r4_says(examples: dict[str, Any]) -> None:
    swept = 0
    for _, bundle in examples.values():
        assert list(bundle_faults(bundle)) == []
        swept += len(bundle["entry"])
    assert swept > 300


def test_a_library_of_the_standard_takes_every_resource(examples: dict[str, Any]) -> None:
    """fhir.resources 8.3.0, R4B: the elements of these resources are those of R4."""
    _, bundle = examples["visits/plover_visit2"]
    get_fhir_model_class("Bundle").model_validate(bundle)
    for entry in (*bundle["entry"], *bundle_of(signed_and_amended())["entry"]):
        resource = entry["resource"]
        get_fhir_model_class(resource["resourceType"]).model_validate(resource)


def invariants() -> Iterator[tuple[str, str, str]]:
    for kind in DEFINITIONS["resources"]:
        for name, one in DEFINITIONS["structures"][kind]["invariants"].items():
            if one["expression"]:
                yield kind, f"{name.split()[0]} {one['path']}", one["expression"]


def holds(resource: dict[str, Any], path: str, expression: str) -> bool:
    """A FHIRPath invariant at every element of its path, by the library fhirpathpy."""
    at = path.split(".", 1)[1] if "." in path else ""
    at = at.replace("[x]", "")
    whole = f"{at}.all({expression})" if at else expression
    # The library has no hasValue(); of what is there and is a primitive, exists() says the same.
    whole = whole.replace("hasValue()", "exists()")
    context = {"resource": resource, "ucum": UCUM}
    return evaluate(resource, whole, context, models["r4"]) in ([True], [])


UNREADABLE = ("dom-3",)
"""Needs `%resource.descendants()` over canonicals, on which the library and the standard differ."""


def test_the_invariants_of_the_standard_hold(examples: dict[str, Any]) -> None:
    _, bundle = examples["visits/plover_visit2"]
    resources = [bundle, *(e["resource"] for e in bundle["entry"][:14]),
                 *(e["resource"] for e in bundle["entry"][-8:]),
                 *(e["resource"] for e in bundle_of(signed_and_amended())["entry"])]  # fmt: skip
    swept = 0
    for kind, name, expression in invariants():
        if name.split()[0] in UNREADABLE:
            continue
        for resource in resources:
            if resource["resourceType"] == kind:
                assert holds(resource, name.split()[1], expression), name
                swept += 1
    assert swept > 100


def obs(**more: Any) -> dict[str, Any]:
    return {"resourceType": "Observation", "status": "final",
            "code": {"coding": [{"system": "s", "code": "c"}]}, **more}  # fmt: skip


DIV = '<div xmlns="http://www.w3.org/1999/xhtml"><p>x</p></div>'


def composition(**more: Any) -> dict[str, Any]:
    return {"resourceType": "Composition", "status": "final", "type": {"text": "t"},
            "date": "2026", "author": [{"display": "E1"}], "title": "t", **more}  # fmt: skip


def risk(**more: Any) -> dict[str, Any]:
    return {"resourceType": "RiskAssessment", "status": "final", "subject": {"display": "x"},
            "prediction": [more]}  # fmt: skip


def document(**more: Any) -> dict[str, Any]:
    return {"resourceType": "Bundle", "type": "document", "timestamp": "2026-03-02T09:40:00Z",
            "identifier": {"system": "s", "value": "v"},
            "entry": [{"fullUrl": "urn:x:1", "resource": composition()}], **more}  # fmt: skip


COMPONENT = {"code": {"coding": [{"system": "s", "code": "c"}]}, "valueInteger": 1}
BROKEN: dict[str, dict[str, Any]] = {
    "obs-3": obs(referenceRange=[{"age": {"low": {"value": 1}}}]),
    "obs-6": obs(valueInteger=1, dataAbsentReason={"text": "none"}),
    "obs-7": obs(valueInteger=1, component=[COMPONENT]),
    "cmp-1": composition(section=[{"title": "empty"}]),
    "cmp-2": composition(section=[{"title": "x", "emptyReason": {"text": "x"},
                                   "entry": [{"display": "x"}]}]),
    "ras-1": risk(probabilityRange={"low": {"value": 1, "code": "1", "system": UCUM}}),
    "ras-2": risk(probabilityDecimal=170),
    "bdl-1": document(total=3),
    "bdl-5": document(entry=[*document()["entry"], {"fullUrl": "urn:x:2"}]),
    "bdl-7": document(entry=[*document()["entry"], *document()["entry"]]),
    "bdl-8": document(entry=[{"fullUrl": "http://x/Composition/1/_history/2",
                              "resource": composition()}]),
    "bdl-9": document(identifier={"value": "v"}),
    "bdl-10": {k: v for k, v in document().items() if k != "timestamp"},
    "bdl-11": document(entry=[{"fullUrl": "urn:x:1", "resource": obs()}]),
}  # fmt: skip


def test_every_invariant_of_ours_is_tried() -> None:
    assert set(BROKEN) == {key for keys in INVARIANTS.values() for key in keys}
    assert len(BROKEN) == 14


@pytest.mark.parametrize("key", sorted(BROKEN))
def test_our_invariants_say_what_the_fhirpath_says(key: str) -> None:
    """HL7's expression, evaluated by a library, refuses the same resource and takes a whole one."""
    broken = BROKEN[key]
    kind = broken["resourceType"]
    assert any(key in error.message for error in faults_of(broken, "x"))
    name, expression = next(
        (n, e) for k, n, e in invariants() if k == kind and n.startswith(f"{key} ")
    )
    assert not holds(broken, name.split()[1], expression)
    whole = {"Observation": obs(), "Composition": composition(), "Bundle": document(),
             "RiskAssessment": risk(probabilityDecimal=17.5)}[kind]  # fmt: skip
    assert list(faults_of(whole, "x")) == []
    assert holds(whole, name.split()[1], expression)


@pytest.mark.parametrize(
    ("resource", "said"),
    [
        (obs(status="nonsense"), "status"),
        (obs(valueInteger="1"), "integer"),
        (obs(valueInteger=True), "integer"),
        (obs(effectiveDateTime="2026-03-02T09:40:00"), "dateTime"),
        (obs(effectiveDateTime="2 March"), "dateTime"),
        (obs(colour="red"), "an element of Observation"),
        (obs(note={"text": "x"}), "a list"),
        (obs(note=[]), "an empty list"),
        (obs(note=[{"words": "x"}]), "an element of Annotation"),
        (obs(component=[{"valueInteger": 1}]), "R4 requires it"),
        ({"resourceType": "Observation", "status": "final"}, "R4 requires it"),
        (composition(author=[]), "an empty list"),
        (composition(section=[{"title": "x", "section": [{"mode": "nonsense"}]}]), "mode"),
        ({"resourceType": 5}, "resourceType"),
        ("text", "resourceType"),
    ],
)
def test_what_the_library_lets_pass_is_refused(resource: Any, said: str) -> None:
    assert any(said in error.message for error in faults_of(resource, "x"))


def test_hl7_s_own_examples_are_as_the_definitions_say() -> None:
    for path in sorted(HL7.glob("*.json")):
        resource = json.loads(path.read_text())
        found = (
            bundle_faults(resource) if path.name.startswith("Bundle") else faults_of(resource, "")
        )
        assert list(found) == [], path.name


def test_what_was_not_examined_has_a_reason_and_no_value() -> None:
    made = observation(unable("neer", "left", "too stiff"), PROTOCOL, {})
    assert not any(name.startswith("value") for name in made)
    assert made["dataAbsentReason"]["coding"][0]["code"] == "not-performed"
    assert made["dataAbsentReason"]["text"] == "too stiff"
    assert "interpretation" not in made


def test_an_angle_is_a_quantity_in_degrees_with_side_and_mode() -> None:
    codes = {(c.item, c.side, c.mode): c for c in outside_codes_of(SHOULDER)}
    made = observation(angle("flexion", "left", 100, "active"), PROTOCOL, codes)
    assert made["valueQuantity"] == {"value": 100, "unit": "°", "system": UCUM, "code": "deg"}
    assert made["bodySite"]["text"] == "patient's left"
    assert {"system": "http://loinc.org", "code": "41295-7"} in made["code"]["coding"]
    passive = observation(angle("flexion", "left", 100, "passive"), PROTOCOL, codes)
    assert [c["system"] for c in passive["code"]["coding"]] == [f"{OURS}item"]


def test_no_code_of_snomed_is_shipped(examples: dict[str, Any]) -> None:
    assert all("snomed" not in code.system for code in outside_codes_of(SHOULDER))
    assert len(outside_codes_of(SHOULDER)) == 5
    assert all("snomed" not in json.dumps(bundle) for _, bundle in examples.values())


def test_a_user_s_own_map_is_added(tmp_path: Path) -> None:
    path = tmp_path / "codes.csv"
    path.write_text("item,side,mode,system,code\nneer,left,,http://example.org/codes,X1\n")
    one = record(negative("neer", "left"))
    own = read_outside_codes(path, SHOULDER)
    text = bundle_json(one, interpret(one, SHOULDER, draws=100), SHOULDER, own)
    assert '"X1"' in text
    path.write_text("item,side,mode,system,code\nneerr,left,,s,X1\nneer,lft,,s,X1\n")
    with pytest.raises(UserError, match=r"line 2\.item.*\n?.*line 3\.side"):
        read_outside_codes(path, SHOULDER)


def test_probabilities_are_percent_with_their_interval(examples: dict[str, Any]) -> None:
    _, bundle = examples["frozen"]
    risks = [e["resource"] for e in bundle["entry"]
             if e["resource"]["resourceType"] == "RiskAssessment"]  # fmt: skip
    predictions = [one for risk in risks for one in risk["prediction"]]
    assert len(predictions) > 20
    for one in predictions:
        interval = one["extension"][0]["valueRange"]
        assert 0 < one["probabilityDecimal"] < 100
        assert interval["low"]["value"] <= interval["high"]["value"] <= 100
        assert "percent" in one["rationale"]
    assert {risk["status"] for risk in risks} == {"preliminary"}
    assert max(one["probabilityDecimal"] for one in predictions) > 90


def test_a_raised_flag_is_a_flag(examples: dict[str, Any]) -> None:
    _, bundle = examples["hot-joint"]
    flags = [e["resource"] for e in bundle["entry"] if e["resource"]["resourceType"] == "Flag"]
    assert any("hot, swollen joint (emergency)" in flag["code"]["text"] for flag in flags)
    assert all(flag["status"] == "active" for flag in flags)


def test_signing_and_amending_are_told() -> None:
    bundle = bundle_of(signed_and_amended())
    first = bundle["entry"][0]["resource"]
    assert first["status"] == "amended"
    assert first["attester"][0]["mode"] == "professional"
    told = [e["resource"] for e in bundle["entry"]
            if e["resource"]["resourceType"] == "Provenance"]  # fmt: skip
    assert [one["activity"]["coding"][0]["code"] for one in told] == ["LA", "UPDATE"]
    assert told[1]["reason"][0]["text"] == "wrong side"


def test_a_draft_is_nowhere_called_final(examples: dict[str, Any]) -> None:
    _, bundle = examples["visits/plover_visit2"]
    told = {e["resource"]["resourceType"]: e["resource"]["status"] for e in bundle["entry"]
            if "status" in e["resource"]}  # fmt: skip
    assert told["Composition"] == told["Observation"] == told["DiagnosticReport"] == "preliminary"
    assert not {"final", "finished", "completed"} & set(told.values())
    signed = bundle_of(signed_and_amended())
    later = [e["resource"]["status"] for e in signed["entry"]
             if e["resource"]["resourceType"] == "Observation"]  # fmt: skip
    assert set(later) == {"amended"}


def test_every_reference_leads_into_the_document(examples: dict[str, Any]) -> None:
    for _, bundle in examples.values():
        there = {entry["fullUrl"] for entry in bundle["entry"]}
        text = json.dumps(bundle)
        meant = {one.split('"')[0] for one in text.split('"reference": "')[1:]}
        assert meant <= there
        assert len(meant) > 10


# And back


def test_the_examples_come_back_exactly(examples: dict[str, Any]) -> None:
    for one, bundle in examples.values():
        back = parse_bundle(json.dumps(bundle).encode(), SHOULDER)
        assert back.is_ours
        assert back.not_understood == ()
        assert back.record == one.model_copy(update={"signed": None, "earlier": (), "revision": 1})


@pytest.mark.parametrize("kind", NAMES)
@settings(RANDOM, max_examples=40)
@given(data=st.data(), note=st.none() | st.text(min_size=1, max_size=20), repeat=st.integers(1, 99),
       together=st.booleans(), examiner=st.sampled_from([None, "E2"]))  # fmt: skip
def test_a_value_of_every_kind_comes_back_exactly(
    kind: str, data: st.DataObject, note: str | None, repeat: int, together: bool,
    examiner: str | None,
) -> None:  # fmt: skip
    more = {"note": note, "repeat": repeat, "together": together, "examiner": examiner,
            "mode": "active"}  # fmt: skip
    found = finding(kind, data.draw(VALUES[kind])).model_copy(update=more)
    text = json.dumps(observation(found, PROTOCOL, {}))
    assert Finding.model_validate(finding_from_observation(json.loads(text))) == found


CONTEXTS = st.fixed_dictionaries(
    {},
    optional={
        "age": st.integers(18, 120), "sex": st.sampled_from(["female", "male"]),
        "duration_weeks": st.floats(0, 5200), "pain_0_10": st.integers(0, 10),
        "complaint": st.sampled_from([[], ["left"], ["left", "right"]]),
        "known": st.just({"left": {"tear": True}, "right": {"surgery": True}}),
        "history": st.dictionaries(st.sampled_from(["fever", "night_pain", "diabetes"]),
                                   st.sampled_from(["yes", "no", "unsure", "not asked"])),
        "vitals": st.dictionaries(st.just("temperature"), st.floats(35, 42)),
        "disputed": st.just({"age": (57, 58), "history.fever": ("yes", "no")}),
        "examined_at": st.just("2026-03-02T09:40:00.123456+05:30"),
    },
)  # fmt: skip


@settings(RANDOM, max_examples=25)
@given(context=CONTEXTS)
def test_a_context_comes_back_exactly(context: dict[str, Any]) -> None:
    one = record(angle("flexion", "left", 90, "active"), **context)
    result = interpret(record(age=10), SHOULDER)  # of nobody: the context is what is looked at
    bundle = document_bundle(one, result, SHOULDER)
    assert parse_bundle(json.dumps(bundle).encode(), SHOULDER).record == one


def test_the_clinician_s_words_come_back() -> None:
    one = signed_and_amended()
    back = parse_bundle(json.dumps(bundle_of(one)).encode(), SHOULDER).record
    assert back.conclusion == one.conclusion
    assert back.signed is None


# A stranger's


def strangers(*observations: dict[str, Any], **more: Any) -> dict[str, Any]:
    patient = {"resourceType": "Patient", "identifier": [{"value": "DUNLIN-4"}], "gender": "male"}
    entries = [
        {"fullUrl": "urn:uuid:p", "resource": patient},
        *({"fullUrl": f"urn:uuid:o{n}", "resource": o} for n, o in enumerate(observations)),
    ]
    return {"resourceType": "Bundle", "type": "collection", "entry": entries, **more}


def flexion(
    code: str = "41295-7", value: float = 120, unit: str = "deg", **more: Any
) -> dict[str, Any]:
    return {
        "resourceType": "Observation", "status": "final", "subject": {"reference": "urn:uuid:p"},
        "effectiveDateTime": "2026-03-02T09:40:00Z",
        "code": {"coding": [{"system": "http://loinc.org", "code": code}]},
        "valueQuantity": {"value": value, "unit": unit, "system": UCUM, "code": unit}, **more,
    }  # fmt: skip


def taken(bundle: dict[str, Any]) -> Any:
    return parse_bundle(json.dumps(bundle).encode(), SHOULDER)


def test_what_is_understood_is_taken_and_the_rest_is_listed() -> None:
    unknown = flexion(code="0000-0")
    found = taken(strangers(flexion(), flexion("41307-0", 150), unknown))
    assert [(f.item, f.side, f.mode, f.value.degrees) for f in found.record.findings] == [
        ("flexion", "left", "active", 120), ("flexion", "right", "active", 150),
    ]  # fmt: skip
    assert found.record.context.patient == "DUNLIN-4"
    assert found.record.signed is None
    assert [one.place for one in found.not_understood] == ["entry[3]"]
    assert "no meaning here" in found.not_understood[0].why


@pytest.mark.parametrize(
    ("one", "why"),
    [
        (flexion(unit="rad", value=2.1), "in rad"),
        (flexion(unit="[in_i]", value=40), r"in \[in_i\]"),
        (flexion(value=1200), "1200"),
        (flexion(bodySite={"text": "right shoulder"}), "the code says left, the words say right"),
        (
            flexion(code="41307-0", bodySite={"coding": [{"system": "x", "code": "1",
                                                           "display": "Left shoulder"}]}),
            "the code says right, the words say left",
        ),
        (flexion(subject={"reference": "Patient/other"}), "somebody else"),
        (flexion(status="entered-in-error"), "entered-in-error"),
        (flexion(status="preliminary"), "not final"),
    ],
)  # fmt: skip
def test_what_would_have_to_be_guessed_is_not_taken(one: dict[str, Any], why: str) -> None:
    found = taken(strangers(one))
    assert found.record.findings == ()
    assert re.search(why, found.not_understood[0].why)


def test_a_stranger_s_not_performed_is_never_a_value() -> None:
    one = flexion(dataAbsentReason={"text": "in a sling"})
    del one["valueQuantity"]
    (found,) = taken(strangers(one)).record.findings
    assert (found.status, found.reason, found.value) == ("unable", "in a sling", None)


def test_hl7_s_example_document_goes_in() -> None:
    found = parse_bundle((HL7 / "Bundle-father.json").read_bytes(), SHOULDER)
    assert found.record.context.sex == "female"
    assert found.record.context.examiner == "Adam Careful"
    assert found.record.findings == ()
    told = [one.what for one in found.not_understood]
    assert "Observation: Reason for admission" in told
    assert "MedicationStatement" in told
    assert "Device/software" in told


Spoil = Callable[[dict[str, Any]], object]
REFUSED: list[tuple[bytes | Spoil, str]] = [
    (b"", "whole JSON"), (b'{"resourceType": "Bundle", "entry": [', "cut off"),
    (b"PK\x03\x04" + bytes(40), "packed"), (b"\x1f\x8b" + bytes(40), "packed"),
    (b"[" * 100_000, "nesting"), (b'{"resourceType": "Patient"}', "expected Bundle"),
    (b'{"resourceType": "Bundle", "type": "searchset"}', "document or collection"),
    (b'{"resourceType": "Bundle", "type": NaN}', "numbers"), (b"\xff\xfe", "UTF-8"),
    (b" " * (LIMIT_BYTES + 1), "MB"),
    (lambda b: b["entry"].append({"resource": {"resourceType": "Patient"}}), "2 patients"),
    (lambda b: b["entry"].append(copy.deepcopy(b["entry"][0])), "bdl-7"),
    (lambda b: b["entry"][1]["resource"].update(subject={"reference": "urn:uuid:zzz"}),
     "a resource that is in this Bundle"),
    (lambda b: b["entry"][1]["resource"].update(status="nonsense"), "status"),
    (lambda b: b["entry"][1]["resource"].pop("effectiveDateTime"), "with a zone"),
    (lambda b: b["entry"].append({"resource": {"resourceType": "Encounter", "status": "finished",
                                               "class": [{"text": "x"}]}}), "R5"),
]  # fmt: skip


@pytest.mark.parametrize("number", range(len(REFUSED)))
def test_what_cannot_be_used_is_refused_in_words(number: int) -> None:
    what, said = REFUSED[number]
    if callable(what):
        bundle = strangers(flexion())
        what(bundle)
        what = json.dumps(bundle).encode()
    with pytest.raises(UserError, match=said):
        parse_bundle(what, SHOULDER)


JSON = st.recursive(
    st.none() | st.booleans() | st.integers(-9, 9) | st.text(max_size=4),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(
        st.sampled_from(["resourceType", "entry", "resource", "code", "coding", "subject",
                         "reference", "status", "valueQuantity", "item", "answer", "identifier"]),
        inner, max_size=4),
    max_leaves=10,
)  # fmt: skip


@settings(RANDOM, max_examples=150)
@given(noise=JSON, place=st.sampled_from(["entry", "identifier", "type", "signature", "resource"]))
def test_nothing_ends_in_a_traceback(noise: Any, place: str) -> None:
    bundle = strangers(flexion())
    if place == "resource":
        bundle["entry"][1]["resource"]["code"] = noise
    else:
        bundle[place] = noise
    with suppress(UserError):
        taken(bundle)


@settings(RANDOM, max_examples=60)
@given(data=st.data())
def test_one_of_ours_that_was_changed_is_read_or_refused(data: st.DataObject) -> None:
    bundle = bundle_of_one()
    entry = data.draw(st.sampled_from(bundle["entry"]))["resource"]
    key = data.draw(st.sampled_from(sorted(entry)))
    if data.draw(st.booleans()):
        del entry[key]
    else:
        entry[key] = data.draw(JSON)
    with suppress(UserError):
        taken(bundle)


ONE: dict[str, Any] = {}


def bundle_of_one() -> dict[str, Any]:
    if not ONE:
        one = record(angle("flexion", "left", 90, "active"), unable("neer", "left"), **BASE)
        ONE.update(document_bundle(one, interpret(record(age=10), SHOULDER), SHOULDER))
    return copy.deepcopy(ONE)
