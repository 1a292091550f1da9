"""A pulse."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from sidewise.ground.language import mark_text, term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import Options, Said, Shorthand, fixed_set, one_meaning, one_word
from sidewise.kinds.common.touches import Now, Touch, one_word_each

WORDS = ("normal", "weak", "absent")
PHRASES = {
    "normal": mark_text("pulse normal"),
    "weak": mark_text("pulse weak"),
    "absent": mark_text("pulse absent"),
}


class PulseLimits(Limits):
    """A pulse: normal, weak, absent."""

    kind: Literal["pulse"] = "pulse"


class PulseValue(Value):
    """A pulse."""

    kind: Literal["pulse"]
    pulse: Literal["normal", "weak", "absent"]


def _phrase(value: PulseValue, _limits: PulseLimits) -> str:
    return term(PHRASES[value.pulse])


def _read(said: Said, _limits: PulseLimits) -> Options | None:
    word = one_word(said, WORDS)
    return one_meaning("pulse", pulse=word) if word else None


def _write(value: PulseValue, _limits: PulseLimits) -> Iterator[str]:
    yield value.pulse


def _touches(_limits: PulseLimits, now: Now) -> Iterator[Touch]:
    yield from one_word_each("pulse", "pulse", WORDS, now, "normal")


def _normal(_limits: PulseLimits) -> dict[str, Any]:
    return {"pulse": "normal"}


KIND = Kind(
    limits=PulseLimits,
    value=PulseValue,
    check=no_complaint,
    is_normal=lambda value, _limits: value.pulse == "normal",
    phrase=_phrase,
    line=Shorthand(
        said=fixed_set("options"),
        read=_read,
        write=_write,
        words=lambda _limits: WORDS,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal),
    criteria=("one_of",),
    words=lambda value: (value.pulse,),
)
