"""One field of the context at a time: an answer, an age, a vital sign, each an entry of its own.

Statements follow the rule of findings. Two that were made without knowing of each other both
stand; where they differ the field is in dispute: until a person settles it the record cannot be
signed, and the field counts as unstated, but an answer as "yes" if anyone said so: no warning is
lost to a second opinion.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.protocol.kinds import Frozen
from sidewise.record.model import Context

PLAIN = (
    "setting", "age", "sex", "dominant", "complaint", "onset", "mechanism", "duration_weeks",
    "pain_0_10",
)  # fmt: skip
SIDED = ("known.left", "known.right")
TABLES = ("history", "vitals")
KNOWN = ("tear", "surgery", "replacement")
WORDS = {"duration_weeks": "weeks", "pain_0_10": "pain, 0 to 10", "complaint": "complaint side",
         "dominant": "writing hand"}  # fmt: skip
_BLANK = Context.model_validate(
    {"patient": "-", "examined_at": "2000-01-01T00:00:00+00:00", "examiner": "-"}
)


class Dispute(Frozen):
    """A field for which different values stand, with the entries that hold them."""

    field: str
    entries: tuple[str, ...]


def words_of(field: str) -> str:
    """A field as a person reads it."""
    table, _, name = field.partition(".")
    plain = (name if table in TABLES else field).replace("_", " ").replace(".", " ")
    return WORDS.get(field, plain)


def checked_value(field: str, value: Any) -> Any:
    """The value as the field keeps it, from a value or its text; UserError if it cannot be.

    Sides and what is known of a side may come as words with spaces between; an empty text is
    "unstated".
    """
    if not _is_field(field):
        raise UserError("the field", field, "a field of the context")
    value = _from_text(field, value)
    try:
        made = Context.model_validate(_with(_BLANK.model_dump(), field, value))
    except ValidationError as error:
        first = error.errors()[0]
        said = str(first["msg"])
        raise UserError(words_of(field), value, said[0].lower() + said[1:]) from None
    return stated_value(made, field)


def _is_field(field: str) -> bool:
    table, _, name = field.partition(".")
    return field in (*PLAIN, *SIDED) or (table in TABLES and bool(name))


def _from_text(field: str, value: Any) -> Any:
    if field == "complaint":
        return tuple(value.split()) if isinstance(value, str) else value or ()
    if field in SIDED:
        words = value.split() if isinstance(value, str) else value or ()
        if not isinstance(words, list | tuple):
            return words
        if wrong := [word for word in words if word not in KNOWN]:
            raise UserError(words_of(field), str(wrong[0]), f"some of {', '.join(KNOWN)}")
        return {word: word in words for word in KNOWN}
    if field.startswith("history."):
        return value or "not asked"
    return None if value == "" else value


def _with(data: dict[str, Any], field: str, value: Any) -> dict[str, Any]:
    """The context's data with this field; a vital sign that was not taken has no place there."""
    table, _, name = field.partition(".")
    if not name:
        return {**data, field: value}
    part = {key: kept for key, kept in data[table].items() if key != name}
    return {**data, table: part if value is None else {**part, name: value}}


def stated_value(context: Context, field: str) -> Any:
    """What the context says of a field, as plain data."""
    table, _, name = field.partition(".")
    if not name:
        return getattr(context, field)
    if table == "history":
        return context.answer(name)
    if table == "vitals":
        return context.vitals.get(name)
    return getattr(context.known, name).model_dump()


def with_statements(context: Context, stated: Iterable[tuple[str, Any]]) -> Context:
    """The context with what stands for each field; a disputed one is taken with caution."""
    by_field: dict[str, list[Any]] = {}
    for field, value in stated:
        there = by_field.setdefault(field, [])
        if value not in there:
            there.append(value)
    if not by_field:
        return context
    data = context.model_dump()
    for field, values in by_field.items():
        data = _with(data, field, values[0] if len(values) == 1 else _disputed(field, values))
    return Context.model_validate(data)


def _disputed(field: str, values: list[Any]) -> Any:
    # Neither side may serve as the healthy yardstick while it is open which one hurts, or what
    # is known of it. A "yes" goes on warning until somebody has settled it. Else it is unstated.
    if field.startswith("history.") and "yes" in values:
        return "yes"
    if field == "complaint":
        return tuple(sorted({side for sides in values for side in sides}))
    if field in SIDED:
        return {word: any(value[word] for value in values) for word in KNOWN}
    return stated_value(_BLANK, field)


def disputes(stated: dict[str, tuple[str, Any]]) -> tuple[Dispute, ...]:
    """Every field for which the entries (by name: field and value) differ."""
    by_field: dict[str, list[str]] = {}
    for name, (field, _) in stated.items():
        by_field.setdefault(field, []).append(name)
    return tuple(
        Dispute(field=field, entries=tuple(names))
        for field, names in by_field.items()
        if any(stated[name][1] != stated[names[0]][1] for name in names)
    )
