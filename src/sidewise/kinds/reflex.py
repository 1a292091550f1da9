"""A tendon reflex."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from sidewise.ground.language import term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import Options, Said, Shorthand, fixed_set, one_meaning, one_word
from sidewise.kinds.common.touches import Now, Touch, one_word_each

WORDS = ("absent", "reduced", "normal", "brisk", "brisk with spread")


class ReflexLimits(Limits):
    """A tendon reflex: absent, reduced, normal, brisk, with spread."""

    kind: Literal["reflex"] = "reflex"


class ReflexValue(Value):
    """A tendon reflex."""

    kind: Literal["reflex"]
    reflex: Literal["absent", "reduced", "normal", "brisk", "brisk with spread"]


def _phrase(value: ReflexValue, _limits: ReflexLimits) -> str:
    return term(value.reflex)


def _read(said: Said, _limits: ReflexLimits) -> Options | None:
    word = one_word(said, WORDS)
    return one_meaning("reflex", reflex=word) if word else None


def _write(value: ReflexValue, _limits: ReflexLimits) -> Iterator[str]:
    yield value.reflex


def _touches(_limits: ReflexLimits, now: Now) -> Iterator[Touch]:
    yield from one_word_each("reflex", "reflex", WORDS, now, "normal")


def _normal(_limits: ReflexLimits) -> dict[str, Any]:
    return {"reflex": "normal"}


KIND = Kind(
    limits=ReflexLimits,
    value=ReflexValue,
    check=no_complaint,
    is_normal=lambda value, _limits: value.reflex == "normal",
    phrase=_phrase,
    line=Shorthand(
        said=fixed_set("options"),
        read=_read,
        write=_write,
        words=lambda _limits: WORDS,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal),
    criteria=("one_of",),
    words=lambda value: (value.reflex,),
)
