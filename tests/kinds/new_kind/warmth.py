"""Warmth of the skin at two places, one above the other: a kind invented for a test."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import Meant, Options, Said, Shorthand, exact_number, fixed_set
from sidewise.kinds.common.numbers import range_error
from sidewise.kinds.common.touches import no_normal, no_touches


class WarmthLimits(Limits):
    """Two temperatures in degrees Celsius; `apart` is the most by which healthy ones differ."""

    kind: Literal["warmth"] = "warmth"
    low: float = 15
    high: float = 45
    apart: float = 1


class WarmthValue(Value):
    """The skin above and below, in degrees Celsius."""

    kind: Literal["warmth"]
    above: float = Field(ge=0, le=60)
    below: float = Field(ge=0, le=60)


def _check(value: WarmthValue, limits: WarmthLimits) -> UserError | None:
    above = range_error("above", value.above, limits.low, limits.high, "degrees Celsius")
    return above or range_error("below", value.below, limits.low, limits.high, "degrees Celsius")


def _is_normal(value: WarmthValue, limits: WarmthLimits) -> bool:
    return abs(value.above - value.below) <= limits.apart


def _phrase(value: WarmthValue, _limits: WarmthLimits) -> str:
    return f"{value.above:g} °C above, {value.below:g} °C below"


def _read(said: Said, _limits: WarmthLimits) -> Options | None:
    if "range" not in said:
        return None
    above, below = said["range"]
    return Options((Meant({"kind": "warmth", "above": above, "below": below}),))


def _write(value: WarmthValue, _limits: WarmthLimits) -> Iterator[str]:
    yield f"{exact_number(value.above)} to {exact_number(value.below)}"


KIND = Kind(
    limits=WarmthLimits,
    value=WarmthValue,
    check=_check,
    is_normal=_is_normal,
    phrase=_phrase,
    line=Shorthand(said=fixed_set("range"), read=_read, write=_write),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, measured=True),
    criteria=(),
    field_words={"above": "the warmth above", "below": "the warmth below"},
)
