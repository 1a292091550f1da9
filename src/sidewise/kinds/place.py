"""A mark on the figure: what is there, and where."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.language import term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    one_meaning,
    quoted_text,
    word_with_text,
)
from sidewise.kinds.common.touches import no_normal, no_touches
from sidewise.kinds.common.vocabulary import Vocabulary


class PlaceLimits(Limits):
    """A place on the figure with what is there; `views` are those of the region's figure."""

    kind: Literal["place"] = "place"
    views: tuple[str, ...] = ()


DRAWN = r"^-?\d{1,4},-?\d{1,4}( -?\d{1,4},-?\d{1,4}){0,199}$"
"""Up to 200 points of a line, "x,y x,y ..."."""


class PlaceValue(Value):
    """A mark on the figure: what is there, on which view, where.

    drawn: a line or a point drawn with the finger, in half-millimetres of the body of the atlas as
    that view shows it, x to the right of the page from the body's midline, y down. x, y: 0 to 1
    from the top left of the drawing that was used before there was an atlas.
    """

    kind: Literal["place"]
    what: str = Field(min_length=2, max_length=80)
    view: str | None = None
    x: float | None = Field(default=None, ge=0, le=1)
    y: float | None = Field(default=None, ge=0, le=1)
    structure: str | None = None
    drawn: str | None = Field(default=None, pattern=DRAWN)


def _check(value: PlaceValue, limits: PlaceLimits) -> UserError | None:
    if value.view is None and value.drawn:
        return UserError("view", None, f"one of {', '.join(limits.views)}",
                         "Say on which view it was drawn, or leave the line out.")  # fmt: skip
    if value.view is None or value.view in limits.views:
        return None
    return UserError("view", value.view, f"one of {', '.join(limits.views)}",
                     "Leave it out where the place is said in words.")  # fmt: skip


def _schema(schema: dict[str, Any], words: Vocabulary) -> dict[str, Any]:
    views = {"anyOf": [{"enum": list(words.views), "type": "string"}, {"type": "null"}]}
    view = {**schema["properties"]["view"], **views}
    return {**schema, "properties": {**schema["properties"], "view": view}}


def _phrase(value: PlaceValue, _limits: PlaceLimits) -> str:
    what, where = term(value.what), term(value.structure or value.view or "")
    return f"{what} ({where})" if where else what


def _read(said: Said, _limits: PlaceLimits) -> Options | None:
    if "PLACE" not in said:
        return None
    return one_meaning("place", what=said["PLACE"], view=said.get("VIEW"), x=said.get("X"),
                y=said.get("Y"), structure=said.get("STRUCTURE"),
                drawn=said.get("DRAWN"))  # fmt: skip


def _write(value: PlaceValue, _limits: PlaceLimits) -> Iterator[str]:
    yield f"place {quoted_text(value.what)}"
    if value.view:
        yield f"view {value.view}"
    for name, number in (("x", value.x), ("y", value.y)):
        if number is not None:
            yield f"{name} {exact_number(number)}"
    yield from word_with_text("structure", value.structure)
    yield from word_with_text("drawn", value.drawn)


KIND = Kind(
    limits=PlaceLimits,
    value=PlaceValue,
    check=_check,
    is_normal=lambda _value, _limits: False,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("PLACE", "VIEW", "X", "Y", "STRUCTURE", "DRAWN"),
        said=fixed_set("PLACE", "VIEW", "X", "Y", "STRUCTURE", "DRAWN"),
        read=_read,
        write=_write,
    ),
    bedside=TouchEntry(touches=no_touches, normal=no_normal),
    criteria=("place",),
    supplied=lambda words: {"views": words.views},
    schema=_schema,
    # Two scars are two marks, not a contradiction.
    adds_up=True,
)
