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
from sidewise.ground.frozen import Frozen
from sidewise.ground.validation import user_errors
from sidewise.record.model import Context

PLAIN = (
    "setting", "age", "sex", "dominant", "complaint", "onset", "mechanism", "duration_weeks",
    "pain_0_10", "visit", "follows",
)  # fmt: skip
SIDED = ("known.left", "known.right")
TABLES = ("history", "vitals", "scales")
WEIGHED = ("age", "sex", "onset", "duration_weeks", "pain_0_10")
KNOWN = ("tear", "surgery", "replacement", "arthritis", "dislocation")
WORDS = {"duration_weeks": "weeks", "pain_0_10": "pain, 0 to 10", "complaint": "complaint side",
         "dominant": "writing hand", "visit": "kind of visit",
         "follows": "earlier visit"}  # fmt: skip
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
        first = user_errors(error)[0]
        raise UserError(words_of(field), value, first.expected) from None
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
    if field == "follows":
        return None if context.follows is None else context.follows.model_dump(mode="json")
    if not name:
        return getattr(context, field)
    if table == "history":
        return context.answer(name)
    if table in ("vitals", "scales"):
        return getattr(context, table).get(name)
    return getattr(context.known, name).model_dump(exclude_none=True)


def with_statements(context: Context, stated: Iterable[tuple[str, Any]]) -> Context:
    """The context with what stands for each field; a disputed one is taken with caution."""
    by_field: dict[str, list[Any]] = {}
    anew: set[str] = set()
    for field, value in stated:
        # What was carried before, and is stated after it, is not carried any more.
        anew = set() if field == "follows" else anew | {field}
        there = by_field.setdefault(field, [])
        if value not in there:
            there.append(value)
    if not by_field:
        return context
    data = context.model_dump()
    for field, values in by_field.items():
        data = _with(data, field, values[0] if len(values) == 1 else _disputed(field, values))
    data["disputed"] = {
        field: tuple(value for value in values if value is not None)
        for field, values in by_field.items()
        if len(values) > 1 and is_weighed(field)
    }
    if data["follows"]:
        carried = data["follows"]["carried"]
        data["follows"]["carried"] = tuple(name for name in carried if name not in anew)
    return Context.model_validate(data)


def _disputed(field: str, values: list[Any]) -> Any:
    # Neither side may serve as the healthy yardstick while it is open which one hurts, or what
    # is known of it. A "yes" goes on warning until somebody has settled it. Else it is unstated.
    if field.startswith("history.") and "yes" in values:
        return "yes"
    if field == "complaint":
        return tuple(sorted({side for sides in values for side in sides}))
    if field in SIDED:
        return {word: any(value.get(word) for value in values) for word in KNOWN}
    return stated_value(_BLANK, field)


def is_weighed(field: str) -> bool:
    """Whether each of the values of a disputed field is weighed by itself.

    What is open about the sides is joined instead (`complaint`, what is known of a side).
    """
    return field in WEIGHED or field.partition(".")[0] in TABLES


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
