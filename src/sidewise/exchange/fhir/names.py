"""Systems, and codes of the standards, that our Bundles use."""

from __future__ import annotations

from typing import Any

OURS = "urn:sidewise:"
"""Before every code of our own: not a code of LOINC or SNOMED CT, and not to look like one."""
UCUM = "http://unitsofmeasure.org"
LOINC = "http://loinc.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
ACT = "http://terminology.hl7.org/CodeSystem/v3-ActCode"
FLAG_CATEGORY = "http://terminology.hl7.org/CodeSystem/flag-category"
ACTIVITY = "http://terminology.hl7.org/CodeSystem/v3-DocumentCompletion"
DATA_OPERATION = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"
AGENT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"
INTERVAL = f"{OURS}interval-95"
DOCUMENT = {"system": LOINC, "code": "34138-8", "display": "Targeted history and physical note"}
FINDINGS = {"system": LOINC, "code": "29545-1"}
"""Both read in the R4 value sets of document and section types. A name that was not read in full
is left out."""


def coding(kind: str, code: str) -> dict[str, str]:
    """A code of our own."""
    return {"system": f"{OURS}{kind}", "code": code}


def concept(kind: str, code: str, text: str = "") -> dict[str, Any]:
    """A concept with one code of our own."""
    found: dict[str, Any] = {"coding": [coding(kind, code)]}
    return {**found, "text": text} if text else found


def our_code(found: Any, kind: str) -> str | None:
    """Our own code in a concept, where it has one of that kind."""
    for one in (found or {}).get("coding", ()):
        if one.get("system") == f"{OURS}{kind}":
            return str(one.get("code"))
    return None
