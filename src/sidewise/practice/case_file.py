"""A case as a file, and its truth as another; neither can be read as a patient's examination.

The case has a format of its own, no field that an examination has at its head but the region, and a
patient code that no import takes. The truth carries the hash of the case and one of itself,
so that what was edited by hand is noticed.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from sidewise import __version__
from sidewise.errors import UserError, UserErrors
from sidewise.evidence.conditions import conditions_of
from sidewise.ground.validation import user_errors
from sidewise.knowledge.region import Region, known_name
from sidewise.practice.case import PracticeCase
from sidewise.protocol import protocol_of
from sidewise.reason.interpretation import knowledge_version
from sidewise.record import Record, check_record, record_document
from sidewise.record.reading import SIMULATED

CASE_FORMAT = "sidewise-case/1"
TRUTH_FORMAT = "sidewise-case-truth/1"
NOTICE = "SIMULATED for practice: not a patient, and not to be filed, counted or sent as one."
SEAL = "seal"
MOST_BYTES = 5_000_000


@dataclass(frozen=True)
class CaseFile:
    """A case as it was read: what there is to find, what is said, and what to take care of.

    case_hash: of the file as it stands, by which its truth and its attempts know it.
    """

    record: Record
    opening: str
    warnings: tuple[str, ...]
    case_hash: str = ""
    voice: str = ""


def case_document(case: PracticeCase) -> dict[str, Any]:
    """The case without its truth, as plain data."""
    told = record_document(case.record)
    return {
        "format": CASE_FORMAT,
        "simulated": True,
        "notice": NOTICE,
        "case": case.id,
        "seed": case.seed,
        "region": case.record.region,
        "knowledge_version": case.knowledge_version,
        "program_version": __version__,
        "voice": case.story.voice,
        "opening": case.story.opening,
        "context": told["context"],
        "findings": told["findings"],
    }


def case_text(case: PracticeCase) -> str:
    """The case as it stands in its file; the same to the byte for the same case."""
    return _text(case_document(case))


def truth_document(case: PracticeCase, region: Region) -> dict[str, Any]:
    """What is true of the case, sealed."""
    known = conditions_of(region).by_id
    there = [
        {
            "condition": name,
            "label": known[name].label,
            "side": side or None,
            "level": known[name].levels[level],
        }
        for variable, level in case.drawn.levels.items()
        for name, _, side in (variable.partition("."),)
        if level
    ]
    body = {
        "format": TRUTH_FORMAT,
        "case": case.id,
        "case_hash": _hash(case_text(case)),
        "asked_for": {
            "present": list(case.wishes.present),
            "absent": list(case.wishes.absent),
            "flags": list(case.wishes.flags),
            "age": case.wishes.age,
            "setting": case.wishes.setting,
            "difficulty": case.wishes.difficulty,
        },
        "conditions": there,
        "roots": dict(case.drawn.roots),
        "flags_raised": list(case.raised),
        "readings": dict(case.examined.judged),
        "gave_way": [
            name for name, there in case.examined.judged.items()
            if there != case.drawn.readings[name]
        ],
        "cannot_be_judged": list(case.examined.unable),
    }  # fmt: skip
    return {**body, SEAL: _hash(_text(body))}


def truth_text(case: PracticeCase, region: Region) -> str:
    """The truth as it stands in its file."""
    return _text(truth_document(case, region))


def read_case(path: Path, regions: Mapping[str, Region]) -> CaseFile:
    """A case from its file; UserError where it is none. Another knowledge version is said."""
    return parse_case(_bytes(path), path.name, regions)


def parse_case(data: bytes, name: str, regions: Mapping[str, Region]) -> CaseFile:
    """A case from the bytes of its file. name: of the file, as errors say it."""
    document = _parsed(data, name)
    if document.get("format") != CASE_FORMAT:
        raise UserError(f"{name}: format", document.get("format"), f'"{CASE_FORMAT}"',
                        "Without --case an examination is read.")  # fmt: skip
    region = regions[known_name(regions, document.get("region"))]
    context = document.get("context")
    patient = str(context.get("patient", "")) if isinstance(context, dict) else ""
    if not patient.startswith(SIMULATED):
        raise UserError(f"{name}: context.patient", patient, f'a code like "{SIMULATED}-7"',
                        "Only what was simulated is a case.")  # fmt: skip
    record = _record(document, name)
    check_record(record, protocol_of(region))
    version, now = document.get("knowledge_version"), knowledge_version(region)
    older = f"Made with knowledge {version}; {now} is used now, and may judge it otherwise."
    return CaseFile(
        record,
        str(document.get("opening", "")),
        (NOTICE, *((older,) if version != now else ())),
        hashlib.sha256(data).hexdigest(),
        str(document.get("voice", "")),
    )


def case_file(case: PracticeCase) -> CaseFile:
    """A case just made, as it would be read from its file."""
    text = case_text(case)
    return CaseFile(case.record, case.story.opening, (NOTICE,), _hash(text), case.story.voice)


@dataclass(frozen=True)
class CaseTruth:
    """What is true of a case, as it was read.

    present: levels in words by condition and side ("" for the whole person). flags: that the
    whole of the findings raises. readings: by the network's name.
    """

    case: str
    case_hash: str
    present: Mapping[tuple[str, str], str]
    flags: tuple[str, ...]
    readings: Mapping[str, bool]


def read_truth(path: Path) -> CaseTruth:
    """A truth from its file; UserError where it was edited by hand."""
    return parse_truth(read_document(path), path.name)


def parse_truth(document: Mapping[str, Any], name: str = "truth") -> CaseTruth:
    """A truth from a document; UserError where it was edited by hand."""
    body = _unsealed(document, name)
    present = {(one["condition"], one["side"] or ""): one["level"] for one in body["conditions"]}
    return CaseTruth(
        body["case"], body["case_hash"], present, tuple(body["flags_raised"]), body["readings"]
    )


def check_truth(truth: Path, case: Path) -> None:
    """UserError where a truth was edited by hand, or is of another case."""
    body = _unsealed(read_document(truth), truth.name)
    if body.get("case_hash") != hashlib.sha256(case.read_bytes()).hexdigest():
        raise UserError(f"{truth.name}: case_hash", body.get("case_hash"),
                        f"the hash of {case.name}", "They are not of one case.")  # fmt: skip


def _unsealed(document: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The body of a truth whose seal holds."""
    if document.get("format") != TRUTH_FORMAT:
        raise UserError(f"{name}: format", document.get("format"), f'"{TRUTH_FORMAT}"')
    body = {key: value for key, value in document.items() if key != SEAL}
    if document.get(SEAL) != _hash(_text(body)):
        raise UserError(f"{name}: {SEAL}", document.get(SEAL), "the hash of what stands there",
                        "It was changed after it was written: make the case again.")  # fmt: skip
    return body


def _record(document: dict[str, Any], name: str) -> Record:
    try:
        return Record.model_validate(
            {
                "id": document.get("case"),
                "region": document.get("region"),
                "context": document.get("context"),
                "findings": document.get("findings"),
            }
        )
    except ValidationError as error:
        raise UserErrors([one.inside(name) for one in user_errors(error)]) from None


def read_document(path: Path) -> dict[str, Any]:
    """The JSON object of a file of this room; UserError where it is none, or far too long."""
    return _parsed(_bytes(path), path.name)


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(MOST_BYTES + 1)
    except OSError as error:
        raise UserError(path.name, str(error), "a case file in JSON") from None


def _parsed(data: bytes, name: str) -> dict[str, Any]:
    try:
        document = json.loads(data) if len(data) <= MOST_BYTES else None
    except (ValueError, RecursionError) as error:
        raise UserError(name, str(error), "a case file in JSON") from None
    if not isinstance(document, dict):
        raise UserError(name, "no JSON object of a case's size", "a case file in JSON")
    return document


def _text(document: Mapping[str, Any]) -> str:
    return json.dumps(document, indent=1, ensure_ascii=False) + "\n"


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
