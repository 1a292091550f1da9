"""A vital sign in the item's unit."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.language import say_number
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    one_meaning,
    plain_number,
)
from sidewise.kinds.common.numbers import range_error
from sidewise.kinds.common.touches import no_normal, no_touches


class VitalLimits(Limits):
    """A vital sign with its unit."""

    kind: Literal["vital"] = "vital"
    unit: str
    low: float
    high: float


class VitalValue(Value):
    """A vital sign, in the item's unit."""

    kind: Literal["vital"]
    number: float = Field(ge=0, le=400)


def _check(value: VitalValue, limits: VitalLimits) -> UserError | None:
    return range_error("number", value.number, limits.low, limits.high, limits.unit)


def _read(said: Said, limits: VitalLimits) -> Options | None:
    number = plain_number(said.get("number"), None, limits.unit)
    return None if number is None else one_meaning("vital", number=number)


def _write(value: VitalValue, _limits: VitalLimits) -> Iterator[str]:
    yield exact_number(value.number)


KIND = Kind(
    limits=VitalLimits,
    value=VitalValue,
    check=_check,
    is_normal=lambda _value, _limits: None,
    phrase=lambda value, _limits: say_number(value.number),
    line=Shorthand(names=fixed_names("UNIT"), said=fixed_set("number"), read=_read, write=_write),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, measured=True, read_off=True),
    criteria=("vital", "vital_gap"),
    field_words={"number": "the reading"},
)
