"""A whole number."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    fixed_set,
    one_meaning,
    plain_number,
)
from sidewise.kinds.common.numbers import range_error
from sidewise.kinds.common.touches import Now, Touch, no_normal

FEW = 10
"""A whole number up to this gets a button each."""


class CountLimits(Limits):
    """A whole number from 0 to `high`."""

    kind: Literal["count"] = "count"
    high: int


class CountValue(Value):
    """A whole number."""

    kind: Literal["count"]
    count: int = Field(ge=0, le=1000)


def _check(value: CountValue, limits: CountLimits) -> UserError | None:
    return range_error("count", value.count, 0, limits.high, "a whole number")


def _read(said: Said, _limits: CountLimits) -> Options | None:
    number = plain_number(said.get("number"), None)
    if number is None or number != int(number):
        return None
    return one_meaning("count", count=int(number))


def _write(value: CountValue, _limits: CountLimits) -> Iterator[str]:
    yield str(value.count)


def _touches(limits: CountLimits, now: Now) -> Iterator[Touch]:
    for number in range(limits.high + 1) if limits.high <= FEW else ():
        there = now.get("count") == number
        yield Touch(str(number), {"kind": "count", "count": number}, "", there, number == 0)


KIND = Kind(
    limits=CountLimits,
    value=CountValue,
    check=_check,
    is_normal=lambda value, _limits: True if value.count == 0 else None,
    phrase=lambda value, _limits: str(value.count),
    line=Shorthand(said=fixed_set("number"), read=_read, write=_write),
    bedside=TouchEntry(touches=_touches, normal=no_normal, measured=True, read_off=True),
    criteria=("count",),
    field_words={"count": "the count"},
    mild=lambda value, _limits, most: bool(value.count <= float(most)),
)
