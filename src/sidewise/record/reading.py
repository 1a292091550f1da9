"""Reads and writes records as JSON: everything is checked before anything is kept."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from sidewise.errors import UserError, UserErrors
from sidewise.protocol import load_protocol, regions
from sidewise.record.check import check_record
from sidewise.record.model import FORMAT, Record

LIMIT_BYTES = 5_000_000  # A full examination is under 100 kB; more than this is not one record.


def read_record(source: str | Path) -> Record:
    """The record in a file, or on standard input for "-".

    Raises UserError or UserErrors that name the file, the place, what was got, what was expected.
    """
    name = "standard input" if str(source) == "-" else Path(source).name
    try:
        return parse_record(_bytes(source))
    except UserErrors as errors:
        raise UserErrors([_at(name, error) for error in errors.errors]) from None
    except UserError as error:
        raise _at(name, error) from None


def parse_record(data: bytes | str) -> Record:
    """The record in JSON text; UserError or UserErrors where it is not one."""
    document = _document(data)
    if not isinstance(document, dict):
        raise UserError("the document", document, "a JSON object")
    if document.get("format") != FORMAT:
        raise UserError("format", document.get("format"), f'"{FORMAT}"',
                        "This is not an examination, or one of a later version.")  # fmt: skip
    region = document.get("region")
    if region not in regions():
        raise UserError("region", region, f"one of {', '.join(regions())}")
    record = _validated(document)
    check_record(record, load_protocol(record.region))
    return record


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


def record_schema() -> dict[str, Any]:
    """The published JSON Schema of a record (draft 2020-12)."""
    schema = Record.model_json_schema(by_alias=True)
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
        raise UserErrors([_friendly(entry) for entry in error.errors()]) from None


def _friendly(entry: Any) -> UserError:
    where = _path(entry["loc"])
    context = entry.get("ctx", {})
    got = entry.get("input")
    match entry["type"]:
        case "missing":
            return UserError(where, None, "a value", "Fill it in, or see the published schema.")
        case "extra_forbidden":
            return UserError(
                where,
                where.rsplit(".", 1)[-1],
                "only the fields of the format",
                "Check the spelling; the published schema lists the fields.",
            )
        case "literal_error":
            return UserError(where, got, f"one of {context['expected']}")
        case "greater_than_equal" | "less_than_equal":
            return UserError(where, got, _range(entry), "Check for a missing decimal point.")
        case "union_tag_invalid":
            return UserError(f"{where}.kind", context["tag"], f"one of {context['expected_tags']}")
        case "union_tag_not_found":
            return UserError(f"{where}.kind", None, "the kind of value")
        case "value_error":
            return UserError(
                where, got if not isinstance(got, dict) else _brief(got), str(context["error"])
            )
        case _:
            message = str(entry["msg"])
            return UserError(where, got, message[0].lower() + message[1:])


def _range(entry: Any) -> str:
    context = entry["ctx"]
    if "degrees" in entry["loc"] or {"from", "to"} & set(entry["loc"]):
        return "degrees from -180 to 360"
    return f"at least {context['ge']}" if "ge" in context else f"at most {context['le']}"


def _brief(got: dict[str, Any]) -> str:
    return ", ".join(f"{key}: {value}" for key, value in list(got.items())[:4])


def _path(location: tuple[Any, ...]) -> str:
    # The kind of a value is part of pydantic's path but not of the document's.
    text = ""
    for place, part in enumerate(location):
        if isinstance(part, int):
            text += f"[{part}]"
        elif place and location[place - 1] == "value" and text.endswith(".value"):
            continue
        else:
            text += f".{part}" if text else str(part)
    return text


def _at(name: str, error: UserError) -> UserError:
    where = f"{name}: {error.where}" if error.where else name
    return UserError(where, error.got, error.expected, error.do)
