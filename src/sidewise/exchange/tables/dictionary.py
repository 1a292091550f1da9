"""The dictionary of an export: a codebook to read, and CSVW metadata for programs.

CSVW: W3C, Metadata Vocabulary for Tabular Data, 2015 (context, tables, columns with a name, a
datatype, a description; primary and foreign keys). A program that knows it does not guess types.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any
from urllib.parse import quote

from sidewise.exchange.tables.columns import EMPTY, Column

CODEBOOK = ("table", "column", "type", "unit", "required", "words", "meaning")
DATATYPES: Mapping[str, Any] = {
    "text": "string",
    "number": "double",
    "integer": "integer",
    "boolean": "boolean",
    "datetime": "dateTime",
}


def codebook_rows(tables: Mapping[str, tuple[Column, ...]]) -> Iterator[dict[str, str]]:
    """One row a column: what it is, in what unit, and which words can stand in it."""
    for table, columns in tables.items():
        for one in columns:
            yield {
                "table": table,
                "column": one.name,
                "type": one.type,
                "unit": one.unit,
                "required": "yes" if one.required else "no",
                "words": " | ".join(one.values),
                "meaning": one.about,
            }


def csvw_metadata(tables: Mapping[str, tuple[Column, ...]], remarks: tuple[str, ...]) -> str:
    """The metadata of CSV tables as JSON; every file is called as its table."""
    found = [_table(name, columns, "contexts" in tables) for name, columns in tables.items()]
    document = {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "dc:title": "Examinations of both sides",
        "dc:description": " ".join((EMPTY, *remarks)),
        "dialect": {"encoding": "utf-8", "delimiter": ",", "header": True},
        "tables": found,
    }
    return json.dumps(document, indent=1, ensure_ascii=False)


def _table(name: str, columns: tuple[Column, ...], has_contexts: bool) -> dict[str, Any]:
    schema: dict[str, Any] = {"columns": [_column(one) for one in columns]}
    if name != "findings":
        schema["primaryKey"] = "record"
    elif has_contexts:
        reference = {"resource": "contexts.csv", "columnReference": "record"}
        schema["foreignKeys"] = [{"columnReference": "record", "reference": reference}]
    return {"url": f"{name}.csv", "tableSchema": schema}


def _column(one: Column) -> dict[str, Any]:
    found: dict[str, Any] = {
        # A name is a variable of a URI template: what such a name cannot hold is percent-encoded.
        "name": quote(one.name, safe="._"),
        "titles": one.name,
        "datatype": DATATYPES[one.type],
        "dc:description": one.about,
        "required": one.required,
    }
    if one.values:
        found["datatype"] = {"base": "string", "format": "|".join(map(_literal, one.values))}
    if one.unit:
        found["schema:unitText"] = one.unit
    return found


def _literal(word: str) -> str:
    return "".join(f"\\{c}" if c in r".^$*+?()[]{}|\-" else c for c in word)
