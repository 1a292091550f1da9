"""A movement looked at and judged full, without a number; whether it hurt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from sidewise.ground.language import say_text
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    fixed_names,
    fixed_set,
    one_meaning,
    pain_words,
)
from sidewise.kinds.common.said_words import said_pain
from sidewise.kinds.common.touches import Now, Touch


class NormalByEyeLimits(Limits):
    """A movement judged normal without a number."""

    kind: Literal["normal_by_eye"] = "normal_by_eye"


class NormalByEye(Value):
    """A movement looked at and judged full, without a number; `pain` if that was stated."""

    kind: Literal["normal_by_eye"]
    pain: bool | None = None


def _phrase(value: NormalByEye, _limits: NormalByEyeLimits) -> str:
    return say_text("full by eye") + said_pain(value.pain)


def _read(said: Said, _limits: NormalByEyeLimits) -> Options | None:
    return one_meaning("normal_by_eye", pain=said.get("pain")) if "EYE" in said else None


def _write(value: NormalByEye, _limits: NormalByEyeLimits) -> Iterator[str]:
    yield "normal by eye"
    yield from pain_words(value.pain)


def _touches(_limits: NormalByEyeLimits, now: Now) -> Iterator[Touch]:
    yield Touch("full", {"kind": "normal_by_eye"}, "full by eye", bool(now), True)
    if now:
        painful = now.get("pain") is True
        yield Touch("painful", {**now, "pain": not painful}, "full and painful", painful)


def _normal(_limits: NormalByEyeLimits) -> dict[str, Any]:
    return {}


KIND = Kind(
    limits=NormalByEyeLimits,
    value=NormalByEye,
    check=no_complaint,
    is_normal=lambda value, _limits: not value.pain,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("EYE", "ASPECT"), said=fixed_set("EYE", "pain"), read=_read, write=_write
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal, measured=True, word="full"),
    criteria=("movement_pain",),
    group="range",
    slot=lambda _value: "range eye",
    brief=lambda _value: say_text("full by eye"),
)
