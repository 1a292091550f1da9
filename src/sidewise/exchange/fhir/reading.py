"""A Bundle read: ours comes back exactly; of a stranger's what is understood, the rest listed.

Nothing is guessed. What does not fit is refused with its place (a truncated text, another version,
references that lead nowhere, several patients), and what is only not known is listed: another
unit, a code without a meaning here, a side that code and text do not agree on.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from sidewise.errors import UserError, UserErrors
from sidewise.exchange.fhir.answers import data_from_items
from sidewise.exchange.fhir.bundle import bundle_faults
from sidewise.exchange.fhir.names import OURS, UCUM, our_code
from sidewise.exchange.fhir.observation import finding_from_observation
from sidewise.ground.validation import user_errors
from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol, protocol_of
from sidewise.protocol.outside_codes import OutsideCode, outside_codes_of
from sidewise.record import Record, parse_record
from sidewise.record.model import FORMAT, Finding

LIMIT_BYTES = 20_000_000
"""A document of one examination has under 1 MB."""
LOOKED_AT = 4_000
PACKED = (b"PK\x03\x04", b"\x1f\x8b")
DEGREES = {("deg", UCUM)}
SIDE_WORDS = ("left", "right")


@dataclass(frozen=True, slots=True)
class LeftBehind:
    """One thing of a Bundle that has no place in a record here, and why."""

    place: str
    what: str
    why: str

    @property
    def sentence(self) -> str:
        """The same as a line."""
        return f"{self.place} ({self.what}): {self.why}"


@dataclass(frozen=True, slots=True)
class TakenBundle:
    """What a Bundle gave: a record, a draft as a table gives it, and what was not understood."""

    record: Record
    not_understood: tuple[LeftBehind, ...]
    is_ours: bool


def is_bundle(path: Path) -> bool:
    """Whether a file says of itself, near its beginning, that it is a FHIR resource."""
    if path.suffix.lower() not in (".json", ".fhir") or not path.is_file():
        return False
    with path.open("rb") as file:
        return b'"resourceType"' in file.read(LOOKED_AT)


def read_bundle(path: Path, region: Region) -> TakenBundle:
    """The Bundle in a file; UserError or UserErrors where it cannot be used."""
    try:
        with path.open("rb") as file:
            data = file.read(LIMIT_BYTES + 1)
    except OSError as error:
        raise UserError(path.name, error.strerror, "a file that can be read") from None
    try:
        return parse_bundle(data, region)
    except UserErrors as errors:
        raise UserErrors([error.inside(path.name) for error in errors.errors]) from None
    except UserError as error:
        raise error.inside(path.name) from None


def parse_bundle(data: bytes, region: Region) -> TakenBundle:
    """The Bundle in JSON text; everything is checked before anything is taken."""
    bundle = _document(data)
    _refuse_other_versions(bundle)
    if faults := list(bundle_faults(bundle)):
        raise UserErrors(faults)
    entries = [entry.get("resource", {}) for entry in bundle.get("entry", ())]
    index = _Index(bundle)
    index.check()
    system = bundle.get("identifier", {}).get("system")
    if system == f"{OURS}record":
        try:
            return TakenBundle(_own_record(bundle, entries, region), (), True)
        except (KeyError, IndexError, TypeError, AttributeError) as error:
            raise UserError("the document", f"a part that is not as this program wrote it: {error}",
                            "a document as it was sent", "Ask for it again.") from None  # fmt: skip
    return _foreign(bundle, entries, index, region)


def _document(data: bytes) -> dict[str, Any]:
    if len(data) > LIMIT_BYTES:
        raise UserError("the document", f"more than {LIMIT_BYTES // 1_000_000} MB",
                        "one examination", "Send the documents one by one.")  # fmt: skip
    if data.startswith(PACKED):
        raise UserError("the document", "a packed file", "JSON text",
                        "Unpack it first; what unpacks to how much is not tried here.")  # fmt: skip
    try:
        found = json.loads(data.decode("utf-8-sig"), parse_constant=_no_constant)
    except UnicodeDecodeError as error:
        raise UserError("the document", f"byte {error.start} that is not UTF-8", "UTF-8") from None
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        raise UserError(where, error.msg, "whole JSON", "Was it cut off? Send it again.") from None
    except RecursionError:
        raise UserError("the document", "nesting without end", "JSON of few levels") from None
    if not isinstance(found, dict) or found.get("resourceType") != "Bundle":
        got = found.get("resourceType") if isinstance(found, dict) else "no object"
        raise UserError("resourceType", got, "Bundle", "Send the document, not a part of it.")
    if found.get("type") not in ("document", "collection"):
        raise UserError("type", found.get("type"), "document or collection")
    return found


def _no_constant(name: str) -> Any:
    raise UserError("the document", name, "numbers that are numbers")


def _refuse_other_versions(bundle: Mapping[str, Any]) -> None:
    """R5 and later wrote other shapes; what tells them apart is looked at, not guessed at."""
    entries = bundle.get("entry")
    for number, entry in enumerate(entries if isinstance(entries, list) else ()):
        resource = entry.get("resource") if isinstance(entry, dict) else None
        if not isinstance(resource, dict):
            continue
        kind = resource.get("resourceType")
        later = {"Encounter": isinstance(resource.get("class"), list),
                 "ClinicalImpression": "performer" in resource,
                 "Composition": isinstance(resource.get("subject"), list)}  # fmt: skip
        if later.get(str(kind)):
            raise UserError(f"entry[{number}].resource", f"{kind} as in R5", "FHIR R4 (4.0.1)",
                            "Ask the sender for R4.")  # fmt: skip


class _Index:
    """The resources of a Bundle by every address under which they can be meant."""

    def __init__(self, bundle: Mapping[str, Any]) -> None:
        self.bundle = bundle
        self.found: dict[str, dict[str, Any]] = {}
        for entry in bundle.get("entry", ()):
            resource = entry.get("resource", {})
            for url in (
                entry.get("fullUrl"),
                f"{resource.get('resourceType')}/{resource.get('id')}",
            ):
                if url:
                    self.found[str(url)] = resource

    def get(self, reference: Any) -> dict[str, Any] | None:
        """The resource that a reference means; None where it is none of this Bundle."""
        url = str((reference or {}).get("reference", ""))
        local = "/".join(url.split("/")[-2:])
        return self.found.get(url) or self.found.get(local)

    def check(self) -> None:
        """UserErrors for addresses that only this Bundle can hold and that lead nowhere.

        What another address means may stand on the sender's server: that is listed, not refused.
        """
        lost = [
            UserError(
                place,
                url,
                "a resource that is in this Bundle",
                "Ask the sender for the whole document.",
            )
            for place, url in _references(self.bundle, "")
            if url.startswith("urn:") and self.get({"reference": url}) is None
        ]
        if lost:
            raise UserErrors(lost)

    def outside(self) -> Iterator[LeftBehind]:
        """References that lead out of this Bundle."""
        for place, url in _references(self.bundle, ""):
            if not url.startswith("#") and self.get({"reference": url}) is None:
                yield LeftBehind(place, url, "leads outside this document")


def _references(data: Any, place: str) -> Iterator[tuple[str, str]]:
    if isinstance(data, dict):
        url = data.get("reference")
        if isinstance(url, str):
            yield place, url
        for name, content in data.items():
            yield from _references(content, f"{place}.{name}" if place else name)
    elif isinstance(data, list):
        for number, content in enumerate(data):
            yield from _references(content, f"{place}[{number}]")


def _named(resources: Any, kind: str, name: str = "") -> dict[str, Any]:
    for one in resources:
        part = one.get("identifier", {})
        if one.get("resourceType") == kind and (not name or part.get("value") == name):
            return dict(one)
    return {}


def _own_record(bundle: Mapping[str, Any], entries: list[Any], region: Region) -> Record:
    """A record from a Bundle of ours; its signature is told, and not taken over."""
    patient, encounter = _named(entries, "Patient"), _named(entries, "Encounter")
    context = data_from_items(_named(entries, "QuestionnaireResponse", "context").get("item"))
    care = data_from_items(_named(entries, "QuestionnaireResponse", "care").get("item"))
    impression = _named(entries, "ClinicalImpression")
    context |= {
        "patient": patient["identifier"][0]["value"],
        "examiner": _named(entries, "Practitioner")["identifier"][0]["value"],
        "examined_at": encounter["period"]["start"],
    }
    if "gender" in patient:
        context["sex"] = patient["gender"]
    findings = [one for one in entries if one.get("resourceType") == "Observation"]
    document = {
        "format": FORMAT,
        "id": str(bundle["identifier"]["value"]).rpartition("/")[0],
        "region": region.id,
        "context": context,
        "findings": [finding_from_observation(one) for one in findings],
        "conclusion": {
            "impression": impression.get("summary", ""),
            "plan": [note["text"] for note in impression.get("note", ())],
        },
        **care,
    }
    return parse_record(json.dumps(document), {region.id: region})


def _foreign(
    bundle: Mapping[str, Any], entries: list[Any], index: _Index, region: Region
) -> TakenBundle:
    protocol = protocol_of(region)
    codes = {(one.system, one.code): one for one in outside_codes_of(region)}
    patients = [one for one in entries if one.get("resourceType") == "Patient"]
    if len(patients) != 1:
        raise UserError("entry", f"{len(patients)} patients", "one patient",
                        "Send a document of one examination of one person.")  # fmt: skip
    rest: list[LeftBehind] = []
    findings: list[dict[str, Any]] = []
    whens: list[str] = []
    for number, one in enumerate(entries):
        place = f"entry[{number}]"
        if one.get("resourceType") == "Observation":
            whens.append(str(one.get("effectiveDateTime", "")))
            taken = _foreign_finding(one, codes, protocol, index, patients[0])
            if isinstance(taken, dict):
                findings.append(taken)
            else:
                rest.append(LeftBehind(place, _title(one), taken))
        elif one.get("resourceType") not in ("Patient", "Composition"):
            rest.append(LeftBehind(place, _title(one), "no place in a record here"))
    context = _foreign_context(patients[0], _named(entries, "Composition"), whens, index)
    document = {
        "format": FORMAT,
        "id": str(bundle.get("identifier", {}).get("value") or bundle.get("id") or "bundle")[:80],
        "region": region.id, "context": context, "findings": findings,
    }  # fmt: skip
    return TakenBundle(
        parse_record(json.dumps(document), {region.id: region}),
        (*rest, *index.outside()),
        is_ours=False,
    )


def _title(resource: Mapping[str, Any]) -> str:
    code = resource.get("code")
    told = code if isinstance(code, dict) else {}
    coded = next((f"{c.get('display') or c.get('code')}" for c in told.get("coding", ())), "")
    words = told.get("text") or coded
    return f"{resource.get('resourceType')}{': ' + str(words) if words else ''}"


def _foreign_context(
    patient: Mapping[str, Any], composition: Mapping[str, Any], whens: list[str], index: _Index
) -> dict[str, Any]:
    identifiers = [one.get("value") for one in patient.get("identifier", ()) if one.get("value")]
    code = identifiers[0] if identifiers else patient.get("id")
    when = next((one for one in whens if "T" in one), composition.get("date", ""))
    missing = [
        UserError(name, None, expected)
        for name, got, expected in (
            ("Patient.identifier", code, "a number or code of the patient"),
            ("effectiveDateTime", "T" in str(when), "day and time of the examination, with a zone"),
        )
        if not got
    ]
    if missing:
        raise UserErrors(missing)
    context: dict[str, Any] = {
        "patient": str(code)[:60],
        "examined_at": when,
        "examiner": _author(composition, index)[:80],
    }
    if patient.get("gender") in ("female", "male"):
        context["sex"] = patient["gender"]
    return context


def _author(composition: Mapping[str, Any], index: _Index) -> str:
    for reference in composition.get("author", ()):
        person = index.get(reference) or {}
        name = person.get("name")
        first = name[0] if isinstance(name, list) and name else {}
        words = first.get("text") or " ".join((*first.get("given", ()), first.get("family", "")))
        if words.strip() or reference.get("display"):
            return str(words.strip() or reference["display"])
    return "not stated"


def _foreign_finding(
    found: Mapping[str, Any],
    codes: Mapping[tuple[str, str], OutsideCode],
    protocol: Protocol,
    index: _Index,
    patient: Mapping[str, Any],
) -> dict[str, Any] | str:
    """The finding that an Observation of another program stands for, or why it is none."""
    if (subject := found.get("subject")) is not None and index.get(subject) is not patient:
        return "of somebody else than the patient of this document"
    if found.get("status") not in ("final", "amended", "corrected"):
        return f"status {found.get('status')}: not final"
    known = [
        codes[key]
        for one in found["code"].get("coding", ())
        if (key := (one.get("system"), one.get("code"))) in codes
    ]
    if not known:
        return "its code has no meaning here"
    told = _sides_said(found)
    if told - {known[0].side}:
        return f"the code says {known[0].side}, the words say {' and '.join(sorted(told))}: ask"
    data: dict[str, Any] = {
        "item": known[0].item, "side": known[0].side, "mode": known[0].mode,
    }  # fmt: skip
    if "dataAbsentReason" in found:
        reason = found["dataAbsentReason"].get("text") or "absent, no reason said in words"
        data |= {"status": "unable", "reason": reason}
    else:
        quantity = found.get("valueQuantity", {})
        if (quantity.get("code"), quantity.get("system")) not in DEGREES:
            unit = quantity.get("unit") or quantity.get("code") or "no unit"
            return f"in {unit}: degrees as UCUM deg are understood, and nothing is converted"
        data["value"] = {"kind": "angle", "degrees": quantity.get("value")}
    try:
        Finding.model_validate(data)
    except ValidationError as error:
        return user_errors(error)[0].message.replace("\n", " ")
    limits = protocol.item(known[0].item).kind("angle")
    low, high = getattr(limits, "low", 0.0), getattr(limits, "high", 180.0)
    if "value" in data and not low <= data["value"]["degrees"] <= high:
        return f"{data['value']['degrees']:g} degrees: expected {low:g} to {high:g}"
    return data


def _sides_said(found: Mapping[str, Any]) -> set[str]:
    """Sides named in the words of code and body site."""
    texts: list[str] = []
    for one in (found.get("code"), found.get("bodySite")):
        if isinstance(one, dict):
            texts.append(str(one.get("text", "")))
            texts += [str(c.get("display", "")) for c in one.get("coding", ())]
    words = {word.strip(".,;()").lower() for text in texts for word in text.split()}
    coded = our_code(found.get("bodySite"), "side")
    return (words & set(SIDE_WORDS)) | ({coded} if coded else set())
