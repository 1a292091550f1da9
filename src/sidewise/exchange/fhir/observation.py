"""One finding as an Observation, and back, exactly, for every kind of value.

The main part of a value is the Observation's own value; each further part is a component under our
code of that part. What was not examined has no value and a reason for its absence; it is never a
no.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sidewise.exchange.fhir.names import (
    ABSENT,
    CATEGORY,
    INTERPRETATION,
    ORDINAL,
    UCUM,
    coding,
    concept,
    our_code,
)
from sidewise.note.phrases import value_phrase
from sidewise.protocol import Item, Protocol
from sidewise.protocol.outside_codes import OutsideCode
from sidewise.record.model import Finding

MAIN: Mapping[str, str] = {
    "sign": "grade", "reduced_by_eye": "range", "tenderness": "grade", "angle": "degrees",
    "level": "level", "length": "cm", "seconds": "seconds", "count": "count", "mrc": "grade",
    "force": "newtons", "result": "result", "choice": "choice", "place": "what",
    "reflex": "reflex", "sensation": "sensation", "pulse": "pulse", "vital": "number",
    "text": "text",
}  # fmt: skip
"""The part of each kind that is the value of its Observation; the others have components only."""
UNITS = {
    "degrees": ("deg", "°"), "from": ("deg", "°"), "to": ("deg", "°"), "sd": ("deg", "°"),
    "lag_degrees": ("deg", "°"), "cm": ("cm", "cm"), "seconds": ("s", "s"), "newtons": ("N", "N"),
}  # fmt: skip
"""UCUM code and printed unit of the parts that are measured."""
ORDINALS = {"mrc": {"0": 0, "1": 1, "2": 2, "3": 3, "4-": 3.67, "4": 4, "4+": 4.33, "5": 5}}
"""Places of half grades between the whole ones: our judgement, for sorting only."""
TEXT_PARTS = {"what", "text"}
RESULTS = {"positive": "POS", "negative": "NEG", "equivocal": "IND"}
NOT_DONE = "not-performed"
Part = bool | int | float | str | list[str]


def observation(
    finding: Finding, protocol: Protocol, codes: Mapping[tuple[str, str, str | None], OutsideCode]
) -> dict[str, Any]:
    """The finding as an Observation without its references."""
    item = protocol.by_id.get(finding.item)
    outside = codes.get((finding.item, finding.side, finding.mode))
    label = item.label if item else finding.item
    code = {
        "coding": [coding("item", finding.item), *([outside.coding] if outside else [])],
        "text": f"{label}, {finding.mode}" if finding.mode else label,
    }
    found: dict[str, Any] = {
        "resourceType": "Observation",
        "status": "final",
        "category": [{"coding": [{"system": CATEGORY, "code": "exam"}]}],
        "code": code,
    }
    if item is None or item.paired or finding.side != "midline":
        words = f"patient's {finding.side}" if finding.side != "midline" else "midline"
        found["bodySite"] = concept("side", finding.side, words)
    found |= _value_parts(finding, item)
    if finding.note:
        found["note"] = [{"text": finding.note}]
    return found


def _value_parts(finding: Finding, item: Item | None) -> dict[str, Any]:
    if finding.value is None:
        absent = {
            "coding": [{"system": ABSENT, "code": NOT_DONE}, coding("status", finding.status)],
            "text": finding.reason or finding.status,
        }
        return {"dataAbsentReason": absent, **_components(finding, {})}
    parts = finding.value.model_dump(mode="json", by_alias=True, exclude_none=True)
    kind = str(parts.pop("kind"))
    main = MAIN.get(kind, "")
    said = _phrase(finding, item)
    found: dict[str, Any] = {}
    if main in parts:
        found |= _typed(parts.pop(main), kind, main, said, item)
    else:
        found["valueCodeableConcept"] = concept("kind", kind, said)
    if kind == "result":
        result = RESULTS[found["valueCodeableConcept"]["coding"][0]["code"]]
        found["interpretation"] = [{"coding": [{"system": INTERPRETATION, "code": result}]}]
    if instrument := parts.pop("instrument", None):
        found["method"] = concept("instrument", str(instrument), str(instrument))
    return {**found, **_components(finding, {**parts, **_unstated(finding)}, kind)}


def _unstated(finding: Finding) -> dict[str, None]:
    """Parts said to be unknown, where saying nothing would mean something else."""
    if finding.value is None:
        return {}
    fields = type(finding.value).model_fields.items()
    return {
        field.alias or name: None
        for name, field in fields
        if not field.is_required() and field.default is not None
        if getattr(finding.value, name) is None
    }


def _phrase(finding: Finding, item: Item | None) -> str:
    if item is None or finding.value is None:
        return ""
    limits = item.kind(finding.value.kind)
    return value_phrase(finding.value, item) if limits is not None else ""


def _components(
    finding: Finding, parts: Mapping[str, Part | None], kind: str = ""
) -> dict[str, Any]:
    components = [_component(name, part, kind) for name, part in parts.items()]
    for name, said, unsaid in (
        ("mode", finding.mode, None), ("repeat", finding.repeat, 1),
        ("together", finding.together, False), ("examiner", finding.examiner, None),
    ):  # fmt: skip
        if said != unsaid:
            components.append(_component(name, said, ""))
    if kind:
        components.append(_component("kind", kind, ""))
    return {"component": components} if components else {}


def _component(name: str, part: Any, kind: str) -> dict[str, Any]:
    code = {"code": concept("part", name, name.replace("_", " "))}
    if part is None:
        absent = {"coding": [{"system": ABSENT, "code": "unknown"}], "text": "not stated"}
        return {**code, "dataAbsentReason": absent}
    return {**code, **_typed(part, kind, name)}


def _typed(
    part: Any, kind: str, name: str, said: str = "", item: Item | None = None
) -> dict[str, Any]:
    """A part of a value in the type of FHIR that fits it."""
    if isinstance(part, bool):
        return {"valueBoolean": part}
    if isinstance(part, int | float) and kind not in ORDINALS and name != "grade":
        return _number(part, kind, name, item)
    if name in TEXT_PARTS or kind == "":
        return {"valueInteger": part} if isinstance(part, int) else {"valueString": str(part)}
    value = coding(f"value:{kind}:{name}", str(part))
    grade = part if isinstance(part, int) else ORDINALS.get(kind, {}).get(str(part))
    found: dict[str, Any] = dict(value)
    if grade is not None:
        found["extension"] = [{"url": ORDINAL, "valueDecimal": grade}]
    return {"valueCodeableConcept": {"coding": [found], "text": said or str(part)}}


def _number(part: float, kind: str, name: str, item: Item | None) -> dict[str, Any]:
    if kind == "vital" and name == "number":
        limits = item.kind("vital") if item else None
        unit = str(getattr(limits, "unit", "") or "1")
        return {"valueQuantity": {"value": part, "unit": unit}}
    if name in UNITS:
        code, unit = UNITS[name]
        return {"valueQuantity": {"value": part, "unit": unit, "system": UCUM, "code": code}}
    if isinstance(part, int):
        return {"valueInteger": part}
    return {"valueQuantity": {"value": part, "unit": "1", "system": UCUM, "code": "1"}}


def finding_from_observation(found: Mapping[str, Any]) -> dict[str, Any]:
    """The data of a finding that one of our own Observations stands for."""
    parts = dict(_parts(found))
    data: dict[str, Any] = {
        "item": our_code(found.get("code"), "item"),
        "side": our_code(found.get("bodySite"), "side") or "midline",
    }
    for name in ("mode", "repeat", "together", "examiner"):
        if name in parts:
            data[name] = parts.pop(name)
    if notes := found.get("note"):
        data["note"] = notes[0]["text"]
    if "dataAbsentReason" in found:
        data["status"] = our_code(found["dataAbsentReason"], "status") or "not examined"
        text = found["dataAbsentReason"].get("text")
        if text and text != data["status"]:
            data["reason"] = text
        return data
    kind = str(parts.pop("kind", ""))
    main = MAIN.get(kind, "")
    value = dict(parts)
    if main and our_code(found.get("valueCodeableConcept"), "kind") is None:
        value[main] = _plain(found)
    if instrument := our_code(found.get("method"), "instrument"):
        value["instrument"] = instrument
    data["value"] = {"kind": kind, **value}
    return data


def _parts(found: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for component in found.get("component", ()):
        if (name := our_code(component.get("code"), "part")) is not None:
            yield name, _plain(component)


def _plain(holder: Mapping[str, Any]) -> Any:
    """The plain content of `value[x]`."""
    for name in ("valueBoolean", "valueInteger", "valueString"):
        if name in holder:
            return holder[name]
    if "valueQuantity" in holder:
        return holder["valueQuantity"]["value"]
    concept_found = holder.get("valueCodeableConcept", {})
    return next((one["code"] for one in concept_found.get("coding", ())), None)
