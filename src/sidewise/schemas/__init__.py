"""The JSON Schema (draft 2020-12) of every document this program reads or writes.

A document names its schema in its field `format`: "sidewise-follow/1" is described by
`sidewise-follow-1.json`. The schemas are written by `python -m sidewise.schemas.build` from the
types of the results themselves, and stand in this package and in docs/schema.
"""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from sidewise.errors import UserError

FORMATS = (
    "sidewise-examination/1",
    "sidewise-interpretation/1",
    "sidewise-follow/1",
    "sidewise-line/1",
    "sidewise-plan/1",
    "sidewise-case/1",
    "sidewise-case-truth/1",
    "sidewise-attempt/1",
    "sidewise-feedback/1",
    "sidewise-marks-report/1",
    "sidewise-agreement-report/1",
    "sidewise-check/1",
    "sidewise-sources/1",
    "sidewise-verification/1",
    "sidewise-station/1",
    "sidewise-circuits/1",
    "sidewise-timetable/1",
)


def file_name(format_name: str) -> str:
    """The file of a format's schema."""
    return f"{format_name.replace('/', '-')}.json"


def schema_of(format_name: str) -> dict[str, Any]:
    """The schema of documents of that format; UserError with the formats there are."""
    if format_name not in FORMATS:
        raise UserError("format", format_name, f"one of {', '.join(FORMATS)}")
    text = files(__name__).joinpath(file_name(format_name)).read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found
