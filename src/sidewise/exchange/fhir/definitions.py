"""Whether a resource is as R4 says: elements, how often, of what type, required codes, invariants.

The definitions are HL7's own (`definitions.json`, from hl7.fhir.r4.core 4.0.1, CC0; written by
`tools/fhir/definitions.py`). The invariants are written out here, each under HL7's key; the tests
hold them to the FHIRPath of the definitions.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from functools import cache
from importlib.resources import files
from typing import Any

from sidewise.errors import UserError
from sidewise.exchange.fhir.names import UCUM

PRIMITIVES: dict[str, tuple[type, ...]] = {
    "boolean": (bool,), "integer": (int,), "positiveInt": (int,), "unsignedInt": (int,),
    "decimal": (int, float),
}  # fmt: skip
PATTERNS = {
    "instant": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)",
    "dateTime": r"\d{4}(-\d\d(-\d\d(T\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d))?)?)?",
    "date": r"\d{4}(-\d\d(-\d\d)?)?",
    "code": r"[^\s]+(\s[^\s]+)*",
    "id": r"[A-Za-z0-9\-.]{1,64}",
}
"""Forms of primitives (R4, data types)."""
TEXTS = {"string", "uri", "url", "canonical", "markdown", "xhtml", "base64Binary", "oid", "uuid",
         "time", *PATTERNS}  # fmt: skip
OPEN = {"Resource", "Extension", "Element", "BackboneElement"}


@cache
def _structures() -> dict[str, Any]:
    text = files("sidewise.exchange.fhir").joinpath("definitions.json").read_text("utf-8")
    found: dict[str, Any] = json.loads(text)["structures"]
    return found


@cache
def known_resources() -> frozenset[str]:
    """The resources of which the definitions are known."""
    return frozenset(n for n, s in _structures().items() if f"{n}.meta" in s["elements"])


def faults_of(resource: Any, place: str) -> Iterator[UserError]:
    """Everything in which a resource is not as R4 says; one of an unknown type is not looked at."""
    kind = resource.get("resourceType") if isinstance(resource, dict) else None
    if not isinstance(kind, str):
        yield UserError(place, kind, "a resource with its resourceType")
        return
    if kind in known_resources():
        yield from _element_faults(resource, kind, kind, place)
        for key, holds in INVARIANTS.get(kind, {}).items():
            if not _holds(holds, resource):
                human = _human(kind, key)
                yield UserError(place, f"{kind} against {key}", human)


def _holds(holds: Callable[[Any], bool], resource: Any) -> bool:
    try:
        return bool(holds(resource))
    except (AttributeError, TypeError, KeyError, IndexError):
        return True  # Of another shape than R4's: that has been said already.


def _human(kind: str, key: str) -> str:
    told = _structures()[kind]["invariants"]
    return next((one["human"] for name, one in told.items() if name.startswith(f"{key} ")), key)


def _element_faults(data: Any, structure: str, path: str, place: str) -> Iterator[UserError]:
    if not isinstance(data, dict):
        yield UserError(place, data, "a JSON object")
        return
    children = _children(structure, path)
    for name, content in data.items():
        if name == "resourceType" or name.startswith("_"):
            continue
        if name not in children:
            yield UserError(f"{place}.{name}", name, f"an element of {path} in R4")
            continue
        yield from _content_faults(content, structure, *children[name], f"{place}.{name}")
    given = {children[name][0] for name in data if name in children}
    needed = {child: rule for child, rule, _ in children.values() if rule["min"] > 0}
    for child in sorted(set(needed) - given):
        if f"_{child.rsplit('.', 1)[-1]}" not in data:
            yield UserError(f"{place}.{child.rsplit('.', 1)[-1]}", None, "a value: R4 requires it")


@cache
def _children(structure: str, path: str) -> dict[str, tuple[str, dict[str, Any], str]]:
    """The elements below a path: the path of its rule, the rule and the type, by name in JSON."""
    found: dict[str, tuple[str, dict[str, Any], str]] = {}
    for child, rule in _structures()[structure]["elements"].items():
        head, _, name = child.rpartition(".")
        if head != path:
            continue
        if name.endswith("[x]"):
            for one in rule["types"]:
                found[name[:-3] + one[0].upper() + one[1:]] = (child, rule, one)
        else:
            found[name] = (child, rule, rule["types"][0] if rule["types"] else "")
    return found


def _content_faults(
    content: Any, structure: str, path: str, rule: dict[str, Any], kind: str, place: str
) -> Iterator[UserError]:
    several = rule["max"] != "1"
    if several != isinstance(content, list):
        expected = "a list" if several else "one value, not a list"
        yield UserError(place, _brief(content), f"{expected} (R4 {path})")
        return
    if several and not content:
        yield UserError(place, "an empty list", "a value, or no element at all")
    for number, one in enumerate(content if several else [content]):
        where = f"{place}[{number}]" if several else place
        yield from _value_faults(one, structure, rule.get("as", path), rule, kind, where)


def _value_faults(
    one: Any, structure: str, path: str, rule: dict[str, Any], kind: str, place: str
) -> Iterator[UserError]:
    if "codes" in rule and one not in rule["codes"]:
        yield UserError(place, _brief(one), f"one of {', '.join(rule['codes'])}")
    elif kind in PRIMITIVES:
        if not isinstance(one, PRIMITIVES[kind]) or (kind != "boolean" and isinstance(one, bool)):
            yield UserError(place, _brief(one), f"a FHIR {kind}")
    elif kind in TEXTS:
        if not isinstance(one, str) or not one or not _fits(one, kind):
            yield UserError(place, _brief(one), f"a FHIR {kind}")
    elif kind in _structures() and kind not in OPEN and kind not in known_resources():
        yield from _element_faults(one, kind, kind, place)
    elif kind in ("BackboneElement", "Element", ""):
        yield from _element_faults(one, structure, path, place)
    elif not isinstance(one, dict) or not one:
        yield UserError(place, _brief(one), f"a FHIR {kind}")


def _fits(text: str, kind: str) -> bool:
    pattern = PATTERNS.get(kind)
    return pattern is None or re.fullmatch(pattern, text) is not None


def _brief(content: Any) -> Any:
    return "an object" if isinstance(content, dict) else content


def _sections(resource: Any) -> Iterator[Any]:
    for one in resource.get("section", ()):
        yield one
        yield from _sections(one)


def _code_set(found: Any) -> set[tuple[Any, Any]]:
    return {(one.get("system"), one.get("code")) for one in (found or {}).get("coding", ())}


def _has_value(resource: Any) -> bool:
    return any(name.startswith("value") for name in resource)


def _is_percent(end: Any) -> bool:
    return end is None or (end.get("code") == "%" and end.get("system") == UCUM)


def _predictions(resource: Any) -> list[Any]:
    return list(resource.get("prediction", ()))


def _entries(bundle: Any) -> list[Any]:
    return list(bundle.get("entry", ()))


def _distinct(bundle: Any) -> bool:
    urls = [
        (one["fullUrl"], one.get("resource", {}).get("meta", {}).get("versionId"))
        for one in _entries(bundle)
        if "fullUrl" in one
    ]
    return bundle.get("type") == "history" or len(set(urls)) == len(urls)


def _of_document(bundle: Any, holds: bool) -> bool:
    return bundle.get("type") != "document" or holds


INVARIANTS: dict[str, dict[str, Callable[[Any], bool]]] = {
    "Observation": {
        "obs-3": lambda o: all(
            one.keys() & {"low", "high", "text"} for one in o.get("referenceRange", ())
        ),
        "obs-6": lambda o: "dataAbsentReason" not in o or not _has_value(o),
        "obs-7": lambda o: (
            not _has_value(o)
            or not any(_code_set(c["code"]) & _code_set(o["code"]) for c in o.get("component", ()))
        ),
    },
    "Composition": {
        "cmp-1": lambda c: all(one.keys() & {"text", "entry", "section"} for one in _sections(c)),
        "cmp-2": lambda c: all(
            "emptyReason" not in one or "entry" not in one for one in _sections(c)
        ),
    },
    "RiskAssessment": {
        "ras-1": lambda r: all(
            _is_percent(one["probabilityRange"].get(end))
            for one in _predictions(r)
            if "probabilityRange" in one
            for end in ("low", "high")
        ),
        "ras-2": lambda r: all(one.get("probabilityDecimal", 0) <= 100 for one in _predictions(r)),
    },
    "Bundle": {
        "bdl-1": lambda b: "total" not in b or b["type"] in ("searchset", "history"),
        "bdl-5": lambda b: all(
            one.keys() & {"resource", "request", "response"} for one in _entries(b)
        ),
        "bdl-7": _distinct,
        "bdl-8": lambda b: not any("/_history/" in one.get("fullUrl", "") for one in _entries(b)),
        "bdl-9": lambda b: _of_document(b, b.get("identifier", {}).keys() >= {"system", "value"}),
        "bdl-10": lambda b: _of_document(b, "timestamp" in b),
        "bdl-11": lambda b: _of_document(
            b, [one["resource"]["resourceType"] for one in _entries(b)[:1]] == ["Composition"]
        ),
    },
}
"""Invariants by resource, under HL7's keys. Of a Bundle those of messages, searches and
transactions are not looked at: we take documents and collections."""
