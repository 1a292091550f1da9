"""Seconds until symptoms came, or that none came in the time held."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.language import say_number, say_text
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    measured_value,
    one_meaning,
)
from sidewise.kinds.common.numbers import range_error
from sidewise.kinds.common.touches import Now, Touch

SHORT = 20
"""A time up to this is usually a few seconds, and gets a button for each of them."""


class SecondsLimits(Limits):
    """Time in seconds until symptoms came, or that none came within `high`."""

    kind: Literal["seconds"] = "seconds"
    high: float = 180


class SecondsValue(Value):
    """Seconds until symptoms came, or `none` if none came in the whole time held."""

    kind: Literal["seconds"]
    seconds: float | None = Field(default=None, ge=0, le=3600)
    none: bool = False

    @model_validator(mode="after")
    def _one_of_two(self) -> SecondsValue:
        if self.none == (self.seconds is not None):
            raise ValueError("either seconds, or none: true")
        return self


def _check(value: SecondsValue, limits: SecondsLimits) -> UserError | None:
    return range_error("seconds", value.seconds, 0, limits.high, "seconds")


def _phrase(value: SecondsValue, _limits: SecondsLimits) -> str:
    if value.none or value.seconds is None:
        return say_text("none in the time held")
    return f"{say_number(value.seconds)} s"


def _read(said: Said, _limits: SecondsLimits) -> Options | None:
    if "NONE" in said:
        return one_meaning("seconds", none=True) if len(said) == 1 else None
    return measured_value("seconds", said, "seconds", "seconds", {"s": 1})


def _write(value: SecondsValue, _limits: SecondsLimits) -> Iterator[str]:
    yield "none" if value.seconds is None else f"{exact_number(value.seconds)} s"


def _touches(limits: SecondsLimits, now: Now) -> Iterator[Touch]:
    if limits.high > SHORT:
        label = say_text("none in {seconds} s", seconds=limits.high)
        none = {"kind": "seconds", "none": True}
        yield Touch(label, none, "", bool(now.get("none")), True)
        return
    for number in range(1, 6):
        there = now.get("seconds") == number
        yield Touch(f"{number} s", {"kind": "seconds", "seconds": number}, "", there)


def _normal(limits: SecondsLimits) -> dict[str, Any] | None:
    return {"none": True} if limits.high > SHORT else None


def _shared(limits: SecondsLimits) -> Iterator[tuple[str, dict[str, Any]]]:
    """Times so short that both sides often share one: read on each, recorded by one touch."""
    for number in (1, 2) if limits.high <= SHORT else ():
        yield f"{number} s", {"seconds": number}


KIND = Kind(
    limits=SecondsLimits,
    value=SecondsValue,
    check=_check,
    is_normal=lambda value, _limits: True if value.none else None,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("UNIT", "NONE"),
        said=fixed_set("number", "NONE"),
        read=_read,
        write=_write,
    ),
    bedside=TouchEntry(
        touches=_touches, normal=_normal, measured=True, read_off=True, shared=_shared
    ),
    criteria=("seconds",),
    field_words={"seconds": "seconds"},
)
