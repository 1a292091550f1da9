"""Isometric force in newtons."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.language import say_number, say_text
from sidewise.kinds.common.kind import Kind, Limits, Measure, TouchEntry, Value
from sidewise.kinds.common.line import (
    Meant,
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    instrument_words,
    limited_words,
    plain_number,
)
from sidewise.kinds.common.numbers import Instrument, range_error
from sidewise.kinds.common.touches import no_normal, no_touches

HIGHEST_GRADE = 5
"""Up to this a number with a bare "N" may be a grade of power and the word normal."""


class ForceLimits(Limits):
    """Isometric force in newtons."""

    kind: Literal["force"] = "force"
    high: float = 1500


class ForceValue(Value):
    """Isometric force in newtons."""

    kind: Literal["force"]
    newtons: float = Field(ge=0, le=5000)
    limited_by_pain: bool = False
    instrument: Instrument | None = "dynamometer"


def _check(value: ForceValue, limits: ForceLimits) -> UserError | None:
    return range_error("newtons", value.newtons, 0, limits.high, "newtons")


def _phrase(value: ForceValue, _limits: ForceLimits) -> str:
    limited = say_text(", limited by pain") if value.limited_by_pain else ""
    return f"{say_number(value.newtons)} N{limited}"


def _read(said: Said, _limits: ForceLimits) -> Options | None:
    newtons = plain_number(said.get("number"), "N", "N or normal")
    if newtons is None:
        return None
    # With what it was read is not taken for granted.
    value = {"kind": "force", "newtons": newtons, "instrument": said.get("INSTRUMENT"),
             "limited_by_pain": said.get("pain", False)}  # fmt: skip
    return Options((Meant(value, f"{newtons:g} newtons"),))


def _write(value: ForceValue, _limits: ForceLimits) -> Iterator[str]:
    # "5 N" may also be a grade that is normal.
    unit = "N" if value.newtons > HIGHEST_GRADE else "newtons"
    yield f"{exact_number(value.newtons)} {unit}"
    yield from limited_words(value.limited_by_pain)
    yield from instrument_words(value.instrument)


KIND = Kind(
    limits=ForceLimits,
    value=ForceValue,
    check=_check,
    is_normal=lambda _value, _limits: None,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("ASPECT", "UNIT", "INSTRUMENT"),
        said=fixed_set("number", "pain", "INSTRUMENT"),
        read=_read,
        write=_write,
    ),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, measured=True, read_off=True),
    criteria=(),
    # A table has the column always: an empty cell says that no instrument was stated.
    empty={"instrument": None},
    field_words={"newtons": "newtons"},
    # An item may be graded and measured: its movement and its force share one label.
    measure=Measure(
        quantity="force",
        unit="N",
        words="newtons",
        number=lambda value, _limits: value.newtons,
        suffix=", force",
    ),
)
