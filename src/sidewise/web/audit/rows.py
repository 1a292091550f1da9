"""A row as one line of text that repeats, and the mark that binds it into the audit."""

from __future__ import annotations

import base64
import json
from datetime import date, datetime
from typing import Any
from uuid import UUID

from django.db.models import Model

from sidewise.web.audit.keyed_digest import mark_of

MARK_LETTERS = 32
"""128 bits of HMAC-SHA-256 for each row: the least that RFC 2104, section 5 recommends."""


def row_line(row: Model) -> str:
    """One line of JSON with every column of the row."""
    return line({f.attname: f.value_from_object(row) for f in row._meta.concrete_fields})


def line(values: dict[str, Any]) -> str:
    """One line, every digit of every time kept."""
    return json.dumps(values, default=_plain, ensure_ascii=False, sort_keys=True) + "\n"


def mark_of_row(row: Model) -> str:
    """The mark of one row as it was read from the database."""
    return mark_of_text(row._meta.label_lower, row_line(row))


def mark_of_text(kind: str, text: str) -> str:
    """The mark of one thing of this kind."""
    return mark_of("row", f"{kind}\n{text}")[:MARK_LETTERS]


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, UUID):
        return str(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    raise TypeError(type(value))
