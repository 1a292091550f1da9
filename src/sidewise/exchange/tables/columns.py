"""What each column of an exported table is: its name, its type, its unit and its meaning.

The types follow from the models of the record, so that a new field is described by itself.
"""

from __future__ import annotations

import types
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from sidewise.kinds import KINDS
from sidewise.kinds.common.vocabulary import Vocabulary
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.record.model import Context, Finding
from sidewise.record.table import AT_THE_BEDSIDE, CONCLUSION, GROUPS, TOLD, table_columns

ColumnType = Literal["text", "number", "integer", "boolean", "datetime"]
ANSWERS = ("yes", "no", "unsure", "not asked")
PART_OF = "Part of a value of the kind: "
EMPTY = "An empty cell: not recorded. It never means normal."
SAID: Mapping[str, str] = {
    "record": "The record; the same in every table.",
    "region": "The region of the body that was examined.",
    "patient": "The code of the patient.",
    "examined_at": "When the examination began, with the offset from UTC.",
    "examiner": "Who examined.",
    "setting": "Where the patient was seen.",
    "age": "Age at the examination.",
    "sex": "Sex.",
    "dominant": "The dominant hand.",
    "complaint": "The sides that hurt, joined by a semicolon.",
    "onset": "How it began.",
    "mechanism": "How it happened, in words.",
    "duration_weeks": "How long it has lasted.",
    "pain_0_10": "Pain as the patient rates it, 0 none to 10 worst.",
    "visit": "The kind of visit; empty for a full examination.",
    "care": "What was done, planned and shown by tests, as JSON.",
    "impression": "The clinician's impression, in words.",
    "plan": "The clinician's plan, a JSON list of steps.",
    "revision": "The number of the revision; told, and not read back.",
    "signed_by": "Who signed it; told, and not read back.",
    "signed_at": "When it was signed; told, and not read back.",
    "item": "What was examined; `sidewise sources ITEM` tells how.",
    "side": "The patient's own side.",
    "mode": "Active, passive or resisted, where the item has modes.",
    "status": "Whether it was examined. Not examined is never normal.",
    "reason": "Why it could not be, or must not be, examined.",
    "repeat": "The number of the reading.",
    "note": "A remark on the finding.",
    "together": "Recorded with the rest of a stage, not looked at singly.",
    "kind": "The kind of value.",
    "degrees": "A joint angle.",
    "sd": "Standard deviation of the reading.",
    "from": "Where a painful arc begins.",
    "to": "Where a painful arc ends; of a sensation, what it was tested with.",
    "lag_degrees": "How far the limb falls back.",
    "newtons": "Force.",
    "grade": "The grade of the sign, the tenderness or the power, as text.",
    "drawn": "A line marked on the figure, as points.",
}
UNITS: Mapping[str, str] = {
    "age": "years",
    "duration_weeks": "weeks",
    "degrees": "degrees",
    "sd": "degrees",
    "from": "degrees",
    "lag_degrees": "degrees",
    "newtons": "newtons",
    "cm": "centimetres",
    "seconds": "seconds",
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column. values: the words that can stand in it, where they are a closed set."""

    name: str
    type: ColumnType
    about: str
    unit: str = ""
    values: tuple[str, ...] = ()
    required: bool = False


def context_columns(regions: Mapping[str, Region]) -> tuple[Column, ...]:
    """The columns of the table with one row a record."""
    fields = [name for name in Context.model_fields if name not in (*GROUPS, *AT_THE_BEDSIDE)]
    named = {column.name: column for column in _of_regions(regions)}
    return (
        Column("record", "text", SAID["record"], required=True),
        Column("region", "text", SAID["region"], values=tuple(regions), required=True),
        *(_of_field(Context, name) for name in fields),
        *named.values(),
        *(Column(name, _told_type(name), SAID[name]) for name in ("care", *CONCLUSION, *TOLD)),
    )


def _told_type(name: str) -> ColumnType:
    return "integer" if name == "revision" else "datetime" if name == "signed_at" else "text"


def _of_regions(regions: Mapping[str, Region]) -> Iterator[Column]:
    for side in ("left", "right"):
        about = f"What was known of the {side} side before, joined by a semicolon."
        yield Column(f"known.{side}", "text", about)
    for region in regions.values():
        protocol = protocol_of(region)
        for asked in protocol.history:
            yield Column(f"history.{asked.id}", "text", f"Asked: {asked.label}.", "", ANSWERS)
        for sign in protocol.vitals:
            yield Column(f"vitals.{sign.id}", "number", f"{sign.label}.", sign.unit)
        for scale in protocol.scales:
            ends = f"{scale.label}, {scale.low:g} to {scale.high:g}; {scale.better} is better."
            yield Column(f"scales.{scale.id}", "number", ends)


def finding_columns(words: Vocabulary) -> tuple[Column, ...]:
    """The columns of the long table, one row a finding, in its order."""
    return tuple(_finding_columns(words).values())


@cache
def _finding_columns(words: Vocabulary) -> dict[str, Column]:
    fixed: dict[str, Column] = {
        "record": Column("record", "text", SAID["record"], required=True),
        **{name: _of_field(Finding, name) for name in Finding.model_fields if name != "value"},
        "kind": Column("kind", "text", SAID["kind"], values=tuple(KINDS)),
    }
    own: dict[str, Column] = {}
    for kind in KINDS.values():
        for name, field in kind.value.model_fields.items():
            column = _of_field(kind.value, name, field.alias or name, f"{PART_OF}{kind.name}.")
            own[column.name] = _joined(own.get(column.name), column)
    aspects = dict(words.aspects)
    for name in table_columns(words):
        if name not in fixed and name not in own:
            about = f"Whether the manoeuvre reproduced: {aspects.get(name, name)}."
            own[name] = Column(name, "boolean", about)
    known = {**own, **fixed}
    # `grade` is a word for signs and power and a number for tenderness: text, as the table has it.
    known["grade"] = Column("grade", "text", SAID["grade"])
    return {name: known[name] for name in table_columns(words)}


def _joined(held: Column | None, column: Column) -> Column:
    """One column that several kinds of value fill."""
    if held is None or held == column:
        return column
    about = held.about
    if about.startswith(PART_OF):
        about = f"{about.removesuffix('.')}, {column.about.removeprefix(PART_OF)}"
    one_type = held.type if held.type == column.type else "text"
    closed = bool(held.values) and bool(column.values)
    values = tuple(dict.fromkeys((*held.values, *column.values))) if closed else ()
    return Column(held.name, one_type, about, held.unit, values)


def _of_field(model: type[BaseModel], name: str, alias: str = "", about: str = "") -> Column:
    field = model.model_fields[name]
    written = alias or name
    kinds, values = _taken_apart(field.annotation)
    said = SAID.get(written) or about or f"{written.replace('_', ' ').capitalize()}."
    return Column(
        written, _type_of(kinds), said, UNITS.get(written, ""), values,
        required=field.is_required() and not alias,
    )  # fmt: skip


def _type_of(kinds: set[Any]) -> ColumnType:
    if kinds == {bool}:
        return "boolean"
    if kinds == {int}:
        return "integer"
    if kinds and kinds <= {int, float}:
        return "number"
    return "datetime" if any("Datetime" in str(kind) for kind in kinds) else "text"


def _taken_apart(annotation: Any) -> tuple[set[Any], tuple[str, ...]]:
    """The plain types of an annotation, and the words of its literals where there are no others."""
    kinds: set[Any] = set()
    words: list[str] = []
    for one in _leaves(annotation):
        if isinstance(one, str):
            words.append(one)
        else:
            kinds.add(one)
    return (kinds or {str}), (tuple(words) if not kinds else ())


def _leaves(annotation: Any) -> Iterator[Any]:
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _leaves(get_args(annotation)[0])
    elif origin is Literal:
        yield from map(str, get_args(annotation))
    elif origin in (Union, types.UnionType):
        for one in get_args(annotation):
            yield from _leaves(one)
    elif origin is tuple:
        yield str
    elif annotation is not type(None):
        yield annotation
