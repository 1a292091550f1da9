"""Complaints of pydantic as errors for people: where, what was got, what was expected, what to do.

The one place where the two meet; callers name the document and say how its places are written.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from sidewise.errors import UserError, UserErrors

Model = TypeVar("Model", bound=BaseModel)
Location = tuple[int | str, ...]
Expected = Callable[[Location], str | None]
"""What is expected of a number at a place, where the unit is known; None where it is not."""


def validate_model(model: type[Model], data: Any, place: str) -> Model:
    """`data` as `model`; everything wrong with it, each at its place, as UserErrors."""
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise UserErrors(user_errors(error, place)) from None


def user_errors(
    error: ValidationError,
    place: str = "",
    *,
    written: Callable[[Location], str] | None = None,
    expected: Expected = lambda _place: None,
) -> list[UserError]:
    """Every complaint, in order. `written`: how a place is written, after `place`."""
    write = written or path_text
    return [_translated(entry, place, write, expected) for entry in error.errors()]


def path_text(location: Location) -> str:
    """A place in a document: `findings[3].value.degrees`."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += f".{part}" if text else part
    return text


def _translated(
    entry: Any, place: str, write: Callable[[Location], str], expected: Expected
) -> UserError:
    there = write(entry["loc"])
    where = _joined(place, there)
    context = entry.get("ctx", {})
    got = entry.get("input")
    match entry["type"]:
        case "missing":
            return UserError(where, None, "a value", "Fill it in, or see the published schema.")
        case "extra_forbidden":
            return UserError(
                where,
                there.rsplit(".", 1)[-1],
                "only the fields of the format",
                "Check the spelling; the published schema lists the fields.",
            )
        case "literal_error" | "enum":
            return UserError(where, got, f"one of {context['expected']}")
        case "greater_than_equal" | "less_than_equal":
            limits = expected(entry["loc"]) or _limits(context)
            return UserError(where, got, limits, "Check for a missing decimal point.")
        case "union_tag_invalid":
            return UserError(f"{where}.kind", context["tag"], f"one of {context['expected_tags']}")
        case "union_tag_not_found":
            return UserError(f"{where}.kind", None, "the kind of value")
        case "value_error":
            # Of a whole document nothing short can be shown: the complaint names the parts.
            brief = _brief(got) if entry["loc"] else "parts that do not fit together"
            return UserError(where, brief, str(context["error"]))
        case _:
            message = str(entry["msg"])
            return UserError(where, got, message[0].lower() + message[1:])


def _joined(place: str, there: str) -> str:
    if not place or not there:
        return place or there
    return f"{place}{there}" if there.startswith("[") else f"{place}.{there}"


def _limits(context: dict[str, Any]) -> str:
    return f"at least {context['ge']}" if "ge" in context else f"at most {context['le']}"


def _brief(got: Any) -> Any:
    if not isinstance(got, dict):
        return got
    return ", ".join(f"{key}: {value}" for key, value in list(got.items())[:4])
