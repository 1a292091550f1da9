"""The painful part of raising the arm."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.language import say_degrees, say_text
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Meant,
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    one_meaning,
)
from sidewise.kinds.common.numbers import Degrees
from sidewise.kinds.common.touches import Now, Touch


class ArcLimits(Limits):
    """From one angle to another while the arm is raised, in degrees; or no painful part."""

    kind: Literal["arc"] = "arc"
    low: float = 0
    high: float = 180


class ArcValue(Value):
    """The painful part of raising the arm, in degrees or without; or painless throughout."""

    kind: Literal["arc"]
    start: Degrees | None = Field(default=None, alias="from")
    end: Degrees | None = Field(default=None, alias="to")
    painless: bool = False
    painful: bool | None = None

    @model_validator(mode="after")
    def _whole(self) -> ArcValue:
        given = (self.start is not None, self.end is not None)
        said = (any(given), self.painless, bool(self.painful))
        if sum(said) != 1 or self.painful is False or any(given) != all(given):
            raise ValueError("from and to, or painful: true without degrees, or painless: true")
        if self.start is not None and self.end is not None and self.start > self.end:
            raise ValueError("from must not be above to")
        return self


def _check(value: ArcValue, limits: ArcLimits) -> UserError | None:
    for name, number in (("from", value.start), ("to", value.end)):
        if number is not None and not limits.low <= number <= limits.high:
            return UserError(name, number, f"degrees from {limits.low:g} to {limits.high:g}")
    return None


def _phrase(value: ArcValue, _limits: ArcLimits) -> str:
    if value.painless:
        return say_text("no painful arc")
    if value.painful or value.start is None or value.end is None:
        return say_text("painful arc, degrees not stated")
    start, end = say_degrees(value.start), say_degrees(value.end)
    return say_text("painful from {start} to {end}", start=start, end=end)


def _read(said: Said, _limits: ArcLimits) -> Options | None:
    if len(said) != 1:
        return None
    if {"PAINLESS", "DENIED"} & set(said) or said.get("RESULT") == "negative":
        return one_meaning("arc", painless=True)
    if "RESULT" in said or "pain" in said:
        there = said.get("RESULT") == "positive" or said.get("pain") is True
        return one_meaning("arc", painful=True) if there else None
    return Options((Meant({"kind": "arc", "from": said["range"][0], "to": said["range"][1]}),))


def _write(value: ArcValue, _limits: ArcLimits) -> Iterator[str]:
    if value.painful:
        yield "positive"
    elif value.start is None or value.end is None:
        yield "painless"
    else:
        yield f"{exact_number(value.start)} to {exact_number(value.end)}"


def _touches(_limits: ArcLimits, now: Now) -> Iterator[Touch]:
    painless = bool(now.get("painless"))
    yield Touch("no painful arc", {"kind": "arc", "painless": True}, "", painless, True)
    there = bool(now.get("painful"))
    yield Touch("painful, degrees not read", {"kind": "arc", "painful": True}, "", there)


def _normal(_limits: ArcLimits) -> dict[str, Any]:
    return {"painless": True}


KIND = Kind(
    limits=ArcLimits,
    value=ArcValue,
    check=_check,
    is_normal=lambda value, _limits: value.painless,
    normal_said=lambda _limits: "no",
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("PAINLESS", "RESULT", "ASPECT"),
        said=fixed_set("range", "PAINLESS", "RESULT", "pain", "DENIED"),
        read=_read,
        write=_write,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal, measured=True),
    criteria=("arc",),
    field_words={"from": "from", "to": "to", "start": "from", "end": "to"},
)
