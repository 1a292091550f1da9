"""The same findings as a long table, one row per finding, for CSV and Parquet.

A second table holds one row of context per record, with `history.` and `vitals.` columns.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.record.model import Context, Finding, Record
from sidewise.record.values import VALUE_MODELS

if TYPE_CHECKING:
    from pandas import DataFrame

FIXED = (
    "record", "item", "side", "mode", "status", "reason", "repeat", "examiner", "note",
    "together", "kind",
)  # fmt: skip


def _value_columns() -> tuple[str, ...]:
    names: dict[str, None] = {}
    for model in VALUE_MODELS.values():
        for name, field in model.model_fields.items():
            if name != "kind":
                names[field.alias or name] = None
    return tuple(names)


VALUE_COLUMNS = _value_columns()
COLUMNS = (*FIXED, *VALUE_COLUMNS)
JOIN = "; "  # Between several choices in one cell.
GROUPS = ("history", "vitals", "scales", "known")
GROUP_COLUMNS = ", ".join(f"{group}.NAME" for group in GROUPS)


def finding_row(record_id: str, finding: Finding) -> dict[str, Any]:
    """One finding as a flat row; columns it does not use are None."""
    data = finding.model_dump(mode="json", by_alias=True, exclude={"value"})
    value = finding.value.model_dump(mode="json", by_alias=True) if finding.value else {}
    row = dict.fromkeys(COLUMNS)
    row.update(data)
    for name, content in value.items():
        row[name] = JOIN.join(content) if isinstance(content, list) else content
    # `grade` is a word for signs and power and a number for tenderness: one text column.
    if row["grade"] is not None:
        row["grade"] = str(row["grade"])
    row["record"] = record_id
    return row


def finding_from_row(row: Mapping[str, Any]) -> Finding:
    """The finding a row stands for; UserError names the column at fault."""
    cells = {name: content for name, content in row.items() if not _empty(content)}
    kind = cells.get("kind")
    if kind is not None and kind not in VALUE_MODELS:
        raise UserError("kind", kind, f"one of {', '.join(VALUE_MODELS)}")
    data = {name: cells[name] for name in FIXED[1:-1] if name in cells}
    if kind is not None:
        data["value"] = {"kind": kind, **_value_cells(kind, cells)}
    try:
        return Finding.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        column = str(first["loc"][-1]) if first["loc"] else "row"
        raise UserError(column, first["input"], str(first["msg"])) from None


def _value_cells(kind: str, cells: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, field in VALUE_MODELS[kind].model_fields.items():
        column = field.alias or name
        if name == "kind" or column not in cells:
            continue
        content = cells[column]
        if kind == "choice" and JOIN in str(content):
            content = tuple(str(content).split(JOIN))
        if column == "grade":
            content = _tender(content) if kind == "tenderness" else _grade_text(content)
        found[column] = content
    return found


def _tender(content: Any) -> int:
    """The grade of tenderness in a text column; a half grade is refused, not cut down."""
    try:
        number = float(content)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if number not in (0, 1, 2, 3):
        raise UserError("grade", content, "a grade of tenderness: 0, 1, 2 or 3")
    return int(number)


def _grade_text(content: Any) -> str:
    # A column of whole numbers alone comes back from a table as 4.0.
    return f"{content:g}" if isinstance(content, float) else str(content)


def _empty(content: Any) -> bool:
    # A missing cell of a text column is pandas' own marker, which has no truth value.
    if content is None or type(content).__name__ in ("NAType", "NaTType"):
        return True
    return content == "" if isinstance(content, str) else content != content


def findings_frame(records: Iterable[Record]) -> DataFrame:
    """Every finding of the records, one row each, in the columns `COLUMNS`."""
    import pandas as pd

    rows = [finding_row(record.id, finding) for record in records for finding in record.findings]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def context_row(record: Record) -> dict[str, Any]:
    """The context of a record as a flat row; lists joined, history and vitals as columns."""
    data = record.context.model_dump(mode="json", exclude={"history", "vitals", "scales", "known"})
    data["complaint"] = JOIN.join(record.context.complaint)
    for side in ("left", "right"):
        known = getattr(record.context.known, side)
        data[f"known.{side}"] = JOIN.join(k for k, v in known.model_dump().items() if v)
    for group in ("history", "vitals", "scales"):
        for name, content in getattr(record.context, group).items():
            data[f"{group}.{name}"] = content
    return {"record": record.id, "region": record.region, **data}


def context_from_row(row: Mapping[str, Any]) -> Context:
    """The context a row stands for; UserError names the column at fault."""
    cells = {name: content for name, content in row.items() if not _empty(content)}
    data: dict[str, Any] = {"history": {}, "vitals": {}, "scales": {}, "known": {}}
    for name, content in cells.items():
        group, dot, field = name.partition(".")
        if (group in GROUPS) != bool(field) or (dot and not field):
            raise UserError(name, content, f"a column of the context, or {GROUP_COLUMNS}")
        if group == "known":
            data["known"][field] = dict.fromkeys(str(content).split(JOIN), True)
        elif field:
            data[group][field] = content
        elif name == "complaint":
            data["complaint"] = tuple(str(content).split(JOIN))
        elif name not in ("record", "region"):
            data[name] = content
    for name in ("patient", "examiner"):
        if name in data:
            data[name] = str(data[name])
    try:
        return Context.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        raise UserError(
            ".".join(map(str, first["loc"])), first["input"], str(first["msg"])
        ) from None


def contexts_frame(records: Iterable[Record]) -> DataFrame:
    """One row of context per record."""
    import pandas as pd

    return pd.DataFrame([context_row(record) for record in records])
