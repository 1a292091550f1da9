"""Feeling compared with a place known to be normal."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from sidewise.ground.language import say_text, term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    fixed_names,
    fixed_set,
    one_meaning,
    one_word,
)
from sidewise.kinds.common.touches import Now, Touch, one_word_each

WORDS = ("normal", "reduced", "absent", "heightened")


class SensationLimits(Limits):
    """Light touch or pinprick: normal, reduced, absent, heightened."""

    kind: Literal["sensation"] = "sensation"


class SensationValue(Value):
    """Feeling compared with a place known to be normal."""

    kind: Literal["sensation"]
    sensation: Literal["normal", "reduced", "absent", "heightened"]
    to: Literal["light touch", "pinprick"] | None = None


def _phrase(value: SensationValue, _limits: SensationLimits) -> str:
    found = term(value.sensation)
    if not value.to:
        return found
    return say_text("{sensation} to {touch}", sensation=found, touch=term(value.to))


def _read(said: Said, _limits: SensationLimits) -> Options | None:
    word = one_word(said, WORDS)
    return one_meaning("sensation", sensation=word, to=said.get("SENSE")) if word else None


def _write(value: SensationValue, _limits: SensationLimits) -> Iterator[str]:
    yield value.sensation
    if value.to:
        yield value.to


def _touches(_limits: SensationLimits, now: Now) -> Iterator[Touch]:
    yield from one_word_each("sensation", "sensation", WORDS, now, "normal")


def _normal(_limits: SensationLimits) -> dict[str, Any]:
    return {"sensation": "normal"}


KIND = Kind(
    limits=SensationLimits,
    value=SensationValue,
    check=no_complaint,
    is_normal=lambda value, _limits: value.sensation == "normal",
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("SENSE"),
        said=fixed_set("options", "SENSE"),
        read=_read,
        write=_write,
        words=lambda _limits: WORDS,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal),
    criteria=("one_of",),
    words=lambda value: (value.sensation,),
)
