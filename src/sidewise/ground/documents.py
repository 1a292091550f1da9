"""Documents that people write by hand, in YAML or JSON: one reader, bounded in size and depth."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from sidewise.errors import UserError

MOST_BYTES = 2_000_000
"""Longer than any document that somebody wrote by hand."""
WANTED = "a document in YAML (.yaml) or JSON (.json)"


def read_document_text(path: Path) -> str:
    """The text of a file; UserError where it cannot be read or is far too long."""
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise UserError(path.name, error.strerror or "", "a file that can be read") from error
    if len(data) > MOST_BYTES:
        raise UserError(path.name, "more than 2 MB", WANTED)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UserError(path.name, f"byte {error.start} that is not UTF-8", "UTF-8 text") from None


def parse_document(text: str, name: str) -> dict[str, Any]:
    """The mapping that a document holds; UserError with file and line where it holds none.

    name: of the file, as errors say it; what ends in .json is JSON, all else YAML. Anchors are
    refused: a few lines of them can stand for more than a machine holds.
    """
    found = _json(text, name) if name.lower().endswith(".json") else _yaml(text, name)
    if not isinstance(found, dict) or not all(isinstance(key, str) for key in found):
        raise UserError(name, type(found).__name__, "fields with names at the top of the document")
    return found


def _json(text: str, name: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        raise UserError(name, str(error), "valid JSON") from None


def _yaml(text: str, name: str) -> Any:
    import yaml

    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    try:
        if any(isinstance(event, yaml.AliasEvent) for event in yaml.parse(text, Loader=loader)):
            raise UserError(name, "an alias (*)", "every value written out", "")
        return yaml.load(text, Loader=loader)
    except (yaml.YAMLError, RecursionError, ValueError) as error:
        raise UserError(name, str(error).replace("\n", " "), "valid YAML") from None
