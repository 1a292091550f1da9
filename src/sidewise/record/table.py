"""The same findings as a long table, one row per finding, for CSV and Parquet.

A second table holds one row of context per record, with `history.` and `vitals.` columns; what was
done, planned and shown by tests stands there as JSON in the one column `care`. Who signed which
revision is told, and never believed when a table is read: a signature is of a record, not of a row.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from pydantic import TypeAdapter, ValidationError

from sidewise.errors import UserError
from sidewise.ground.validation import Location, user_errors
from sidewise.kinds import KINDS
from sidewise.kinds.common.table import JOIN
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.record.care import CareEntry
from sidewise.record.model import Conclusion, Context, Finding, Record

if TYPE_CHECKING:
    from pandas import DataFrame

FIXED = (
    "record", "item", "side", "mode", "status", "reason", "repeat", "examiner", "note",
    "together", "kind",
)  # fmt: skip


GROUPS = ("history", "vitals", "scales", "known")
AT_THE_BEDSIDE = ("disputed", "follows")
"""Statements not settled yet, and what was carried from another visit: tables have no column for
them."""
GROUP_COLUMNS = ", ".join(f"{group}.NAME" for group in GROUPS)


@lru_cache(maxsize=8)
def table_columns(words: Vocabulary) -> tuple[str, ...]:
    """The columns of the long table: the fixed ones, then what each kind of value needs.

    words: of every region (`vocabulary_of_all`), so that tables of all regions fit together.
    """
    own = (name for kind in KINDS.values() for name in kind.table_columns(words))
    return tuple(dict.fromkeys((*FIXED, *own)))


@lru_cache(maxsize=128)
def _columns_of(kind: str, words: Vocabulary) -> tuple[str, ...]:
    return KINDS[kind].table_columns(words)


def finding_row(record_id: str, finding: Finding, words: Vocabulary) -> dict[str, Any]:
    """One finding as a flat row; columns it does not use are None."""
    data = finding.model_dump(mode="json", by_alias=True, exclude={"value"})
    value = finding.value.model_dump(mode="json", by_alias=True) if finding.value else {}
    row = dict.fromkeys(table_columns(words))
    row.update(data)
    for name, content in value.items():
        row[name] = JOIN.join(content) if isinstance(content, list) else content
    # `grade` is a word for signs and power and a number for tenderness: one text column.
    if row["grade"] is not None:
        row["grade"] = str(row["grade"])
    row["record"] = record_id
    return row


def finding_from_row(row: Mapping[str, Any], words: Vocabulary) -> Finding:
    """The finding a row stands for; UserError names the column at fault."""
    cells = {name: content for name, content in row.items() if not _empty(content)}
    kind = cells.get("kind")
    if kind is not None and kind not in KINDS:
        raise UserError("kind", kind, f"one of {', '.join(KINDS)}")
    data = {name: cells[name] for name in FIXED[1:-1] if name in cells}
    if kind is not None:
        data["value"] = {"kind": kind, **_value_cells(kind, cells, words)}
    try:
        return Finding.model_validate(data)
    except ValidationError as error:
        raise user_errors(error, written=_column)[0] from None


def _column(place: Location) -> str:
    return str(place[-1]) if place else "row"


def _value_cells(kind: str, cells: Mapping[str, Any], words: Vocabulary) -> dict[str, Any]:
    readers = {"grade": _grade_text, **KINDS[kind].cells}
    filled = {
        column: readers[column](cells[column]) if column in readers else cells[column]
        for column in _columns_of(kind, words)
        if column in cells
    }
    return {**KINDS[kind].empty, **filled}


def _grade_text(content: Any) -> str:
    # A column of whole numbers alone comes back from a table as 4.0.
    return f"{content:g}" if isinstance(content, float) else str(content)


def _empty(content: Any) -> bool:
    # A missing cell of a text column is pandas' own marker, which has no truth value.
    if content is None or type(content).__name__ in ("NAType", "NaTType"):
        return True
    return content == "" if isinstance(content, str) else content != content


def findings_frame(records: Iterable[Record], words: Vocabulary) -> DataFrame:
    """Every finding of the records, one row each, in the order of `columns(words)`."""
    import pandas as pd

    rows = [
        finding_row(record.id, finding, words) for record in records for finding in record.findings
    ]
    return pd.DataFrame(rows, columns=list(table_columns(words)))


def context_row(record: Record) -> dict[str, Any]:
    """The context of a record as a flat row; lists joined, history and vitals as columns."""
    data = record.context.model_dump(mode="json", exclude={*GROUPS, *AT_THE_BEDSIDE})
    data["complaint"] = JOIN.join(record.context.complaint)
    for side in ("left", "right"):
        known = getattr(record.context.known, side)
        data[f"known.{side}"] = JOIN.join(k for k, v in known.model_dump().items() if v)
    for group in ("history", "vitals", "scales"):
        for name, content in getattr(record.context, group).items():
            data[f"{group}.{name}"] = content
    data[CARE] = care_cell(record.care)
    return {"record": record.id, "region": record.region, **data, **_closing_cells(record)}


def _closing_cells(record: Record) -> dict[str, Any]:
    written, signed = record.conclusion, record.signed
    return {
        "impression": written.impression or None,
        "plan": json.dumps(written.plan, ensure_ascii=False) if written.plan else None,
        "revision": record.revision,
        "signed_by": signed.by if signed else None,
        "signed_at": signed.at.isoformat() if signed else None,
    }


CARE = "care"
CONCLUSION = ("impression", "plan")
"""Columns of the clinician's own words."""
TOLD = ("revision", "signed_by", "signed_at")
"""Columns of context that are told and never read back."""
_CARE: TypeAdapter[tuple[CareEntry, ...]] = TypeAdapter(tuple[CareEntry, ...])
_STEPS: TypeAdapter[tuple[str, ...]] = TypeAdapter(tuple[str, ...])


def care_cell(care: tuple[CareEntry, ...]) -> str | None:
    """Entries of done, planned and shown as the text of one cell; None where there are none."""
    if not care:
        return None
    return _CARE.dump_json(care, exclude_none=True, by_alias=True).decode()


def care_from_row(row: Mapping[str, Any]) -> tuple[CareEntry, ...]:
    """The entries that the cell `care` of a row holds; UserError where it holds something else."""
    content = row.get(CARE)
    if _empty(content):
        return ()
    try:
        return _CARE.validate_json(str(content))
    except ValidationError as error:
        first = user_errors(error, CARE)[0]
        do = first.do or "Leave the cell empty, or write it from a record."
        raise UserError(first.where or CARE, first.got, first.expected, do) from None


def conclusion_from_row(row: Mapping[str, Any]) -> Conclusion:
    """The clinician's own words in a row; UserError where the plan is no list of steps."""
    cells = {name: row.get(name) for name in CONCLUSION if not _empty(row.get(name))}
    plan = str(cells.get("plan", "[]"))
    try:
        steps = _STEPS.validate_json(plan)
    except ValidationError:
        raise UserError("plan", plan, "steps as a JSON list of texts",
                        'Write it as ["first step", "second step"].') from None  # fmt: skip
    return Conclusion(impression=str(cells.get("impression", "")), plan=steps)


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
        elif name not in ("record", "region", CARE, *CONCLUSION, *TOLD):
            data[name] = content
    for name in ("patient", "examiner"):
        if name in data:
            data[name] = str(data[name])
    try:
        return Context.model_validate(data)
    except ValidationError as error:
        raise user_errors(error)[0] from None


def contexts_frame(records: Iterable[Record]) -> DataFrame:
    """One row of context per record."""
    import pandas as pd

    return pd.DataFrame([context_row(record) for record in records])
