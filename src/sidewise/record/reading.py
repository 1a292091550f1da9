"""Reads and writes records as JSON: everything is checked before anything is kept."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from sidewise.errors import UserError, UserErrors
from sidewise.ground.validation import Location, path_text, user_errors
from sidewise.kinds import KINDS
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.knowledge.region import Region, known_name
from sidewise.protocol import protocol_of
from sidewise.record.care import CARE_KINDS
from sidewise.record.check import check_record
from sidewise.record.model import FORMAT, Record

SIMULATED = "SIMULATED"
"""What the code of a simulated patient begins with; no person has such a code."""
LIMIT_BYTES = 5_000_000  # A full examination is under 100 kB; more than this is not one record.


def read_record(source: str | Path, regions: Mapping[str, Region]) -> Record:
    """The record in a file, or on standard input for "-", checked against its region of `regions`.

    Raises UserError or UserErrors that name the file, the place, what was got, what was expected.
    """
    name = "standard input" if str(source) == "-" else Path(source).name
    with _in_file(name):
        document = _examination(_bytes(source), regions)
    # What is wrong with a region is no fault of the file.
    region = regions[document["region"]]
    with _in_file(name):
        return _checked(document, region)


def parse_record(data: bytes | str, regions: Mapping[str, Region]) -> Record:
    """The record in JSON text, of one of `regions`; UserError or UserErrors where it is not one."""
    document = _examination(data, regions)
    return _checked(document, regions[document["region"]])


def _examination(data: bytes | str, regions: Mapping[str, Region]) -> dict[str, Any]:
    """The document, if it is an examination of a region that is known."""
    document = _document(data)
    if not isinstance(document, dict):
        raise UserError("the document", document, "a JSON object")
    if str(document.get("format")).startswith("sidewise-case"):
        raise UserError("format", document["format"], f'"{FORMAT}"',
                        "This is a simulated case for practice, and no patient. Where a command "
                        "takes one, say so with --case.")  # fmt: skip
    if document.get("format") != FORMAT:
        raise UserError("format", document.get("format"), f'"{FORMAT}"',
                        "This is not an examination, or one of a later version.")  # fmt: skip
    known_name(regions, document.get("region"))
    return document


def _checked(document: dict[str, Any], region: Region) -> Record:
    record = _validated(document)
    if record.context.patient.upper().startswith(SIMULATED):
        raise UserError("context.patient", record.context.patient, "the code of a patient",
                        "Simulated patients are kept apart from patients; read the case file "
                        "itself with --case.")  # fmt: skip
    check_record(record, protocol_of(region))
    return record


@contextmanager
def _in_file(name: str) -> Iterator[None]:
    """Errors are said to be in the file called `name`."""
    try:
        yield
    except UserErrors as errors:
        raise UserErrors([_at(name, error) for error in errors.errors]) from None
    except UserError as error:
        raise _at(name, error) from None


def record_json(record: Record, *, indent: int | None = 1) -> str:
    """The record as JSON, without empty fields; reading it back gives the same record."""
    return json.dumps(record_document(record), indent=indent, ensure_ascii=False)


def record_document(record: Record) -> dict[str, Any]:
    """The record as plain data, defaults left out but the format and region kept."""
    data: dict[str, Any] = record.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    for finding, model in zip(data.get("findings", ()), record.findings, strict=False):
        finding["status"] = model.status
        if model.side != "midline":
            finding["side"] = model.side
    return {"format": FORMAT, "id": record.id, "region": record.region, **data}


def record_schema(words: Vocabulary) -> dict[str, Any]:
    """The published JSON Schema of a record (draft 2020-12), with the words of every region."""
    schema = Record.model_json_schema(by_alias=True)
    for kind in KINDS.values():
        name = kind.value.__name__
        schema["$defs"][name] = kind.schema(schema["$defs"][name], words)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "One examination of both sides",
        "$comment": "Items, sides, modes and limits are checked against the protocol as well.",
        **{key: value for key, value in schema.items() if key != "title"},
    }


def _bytes(source: str | Path) -> bytes:
    if str(source) == "-":
        data = sys.stdin.buffer.read(LIMIT_BYTES + 1)
    else:
        data = _file_bytes(Path(source))
    if len(data) > LIMIT_BYTES:
        raise UserError("", f"more than {LIMIT_BYTES // 1_000_000} MB", "one examination",
                        "For many records use `sidewise batch` on a long table.")  # fmt: skip
    return data


def _file_bytes(path: Path) -> bytes:
    if path.is_dir():
        raise UserError("", "a folder", "a file")
    try:
        with path.open("rb") as file:
            return file.read(LIMIT_BYTES + 1)
    except FileNotFoundError:
        raise UserError("", "no such file", "a file that exists") from None
    except PermissionError:
        raise UserError("", "no permission to read it", "a readable file") from None
    except OSError as error:
        raise UserError("", error.strerror or str(error), "a readable file") from None


def _document(data: bytes | str) -> Any:
    try:
        text = data.decode("utf-8-sig") if isinstance(data, bytes) else data
    except UnicodeDecodeError as error:
        raise UserError(
            "the document", f"byte {error.start} that is not UTF-8", "UTF-8 text"
        ) from None
    if not text.strip():
        raise UserError("the document", "an empty file", "a JSON object")
    try:
        return json.loads(text, parse_constant=_no_constant, object_pairs_hook=_no_repeats)
    except json.JSONDecodeError as error:
        raise UserError(
            f"line {error.lineno}, column {error.colno}", error.msg, "valid JSON"
        ) from None
    except RecursionError:
        raise UserError(
            "the document", "nesting without end", "a JSON object of few levels"
        ) from None


def _no_constant(name: str) -> NoReturn:
    raise UserError("the document", name, "numbers that are numbers",
                    "Leave the field out if it was not measured.")  # fmt: skip


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        twice = next(key for key, _ in pairs if sum(key == other for other, _ in pairs) > 1)
        raise UserError(twice, "the same field twice in one object", "each field once")
    return found


def _validated(document: dict[str, Any]) -> Record:
    try:
        return Record.model_validate(document)
    except ValidationError as error:
        raise UserErrors(user_errors(error, written=_path, expected=_degrees)) from None


def _degrees(location: Location) -> str | None:
    in_degrees = "degrees" in location or {"from", "to"} & set(location)
    return "degrees from -180 to 360" if in_degrees else None


def _path(location: Location) -> str:
    # The kind of a value is part of pydantic's path but not of the document's.
    kept: list[int | str] = []
    for place, part in enumerate(location):
        of_value = place and location[place - 1] == "value" and kept[-1] == "value"
        of_care = place > 1 and location[place - 2] == "care" and isinstance(part, str)
        if not (of_value or (of_care and part in CARE_KINDS)):
            kept.append(part)
    return path_text(tuple(kept))


def _at(name: str, error: UserError) -> UserError:
    where = f"{name}: {error.where}" if error.where else name
    return UserError(where, error.got, error.expected, error.do)
