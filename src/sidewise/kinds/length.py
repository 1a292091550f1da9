"""A length in centimetres."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.language import say_number
from sidewise.kinds.common.kind import Kind, Limits, Measure, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    measured_value,
)
from sidewise.kinds.common.numbers import range_error
from sidewise.kinds.common.touches import no_normal, no_touches


class LengthLimits(Limits):
    """A length in centimetres."""

    kind: Literal["length"] = "length"
    low: float = 0
    high: float = 60


class LengthValue(Value):
    """A length in centimetres."""

    kind: Literal["length"]
    cm: float = Field(ge=0, le=300)


def _check(value: LengthValue, limits: LengthLimits) -> UserError | None:
    return range_error("cm", value.cm, limits.low, limits.high, "centimetres")


def _read(said: Said, _limits: LengthLimits) -> Options | None:
    return measured_value("length", said, "cm", "cm", {"cm": 1, "mm": 10})


def _write(value: LengthValue, _limits: LengthLimits) -> Iterator[str]:
    yield f"{exact_number(value.cm)} cm"


KIND = Kind(
    limits=LengthLimits,
    value=LengthValue,
    check=_check,
    is_normal=lambda value, _limits: True if value.cm == 0 else None,
    phrase=lambda value, _limits: f"{say_number(value.cm)} cm",
    line=Shorthand(names=fixed_names("UNIT"), said=fixed_set("number"), read=_read, write=_write),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, measured=True, read_off=True),
    criteria=("length",),
    field_words={"cm": "centimetres"},
    measure=Measure(
        quantity="length", unit="cm", words="cm", number=lambda value, _limits: value.cm
    ),
    mild=lambda value, _limits, most: bool(value.cm <= float(most)),
)
