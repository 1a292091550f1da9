"""A movement looked at and judged reduced, without a number: how much of the usual is left."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from sidewise.ground.language import mark_text, say_text, term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    fixed_names,
    fixed_set,
    one_meaning,
    one_word,
    pain_words,
)
from sidewise.kinds.common.said_words import said_pain
from sidewise.kinds.common.touches import Now, Touch, no_normal, one_word_each

LEFT = ("reduced", "about three quarters", "about half", "about a quarter", "hardly any")
"""What is left of the usual range; the first does not say how much."""
PHRASES = {
    "about three quarters": mark_text(", about three quarters of the usual range"),
    "about half": mark_text(", about half of the usual range"),
    "about a quarter": mark_text(", about a quarter of the usual range"),
    "hardly any": mark_text(", hardly any of the usual range"),
}
SAID = {
    **{word: word for word in LEFT},
    "reduced by eye": "reduced", "restricted": "reduced", "limited": "reduced", "stiff": "reduced",
    "three quarters": "about three quarters", "half": "about half", "half range": "about half",
    "a quarter": "about a quarter", "quarter range": "about a quarter",
    "severely restricted": "hardly any", "severely reduced": "hardly any",
}  # fmt: skip
"""Ways to say it in a typed line (common practice, no source)."""


class ReducedByEyeLimits(Limits):
    """A movement judged reduced without a number."""

    kind: Literal["reduced_by_eye"] = "reduced_by_eye"


class ReducedByEye(Value):
    """A movement seen to be reduced and not measured; `range` is what is left of the usual one."""

    kind: Literal["reduced_by_eye"]
    range: Literal["reduced", "about three quarters", "about half", "about a quarter", "hardly any"]
    pain: bool | None = None
    end_feel: Literal["firm", "soft", "hard", "springy", "empty", "spasm", "not reached"] | None = (
        None
    )


def _phrase(value: ReducedByEye, _limits: ReducedByEyeLimits) -> str:
    some = "" if value.range == "reduced" else term(PHRASES[value.range])
    return say_text("reduced by eye") + some + said_pain(value.pain) + _said_end(value.end_feel)


def _said_end(end_feel: str | None) -> str:
    if end_feel is None:
        return ""
    if end_feel == "not reached":
        return say_text(", end not reached")
    return say_text(", end feel {feel}", feel=term(end_feel))


def _read(said: Said, _limits: ReducedByEyeLimits) -> Options | None:
    word = one_word(said, tuple(SAID))
    if word is None:
        return None
    return one_meaning(
        "reduced_by_eye", range=SAID[word], pain=said.get("pain"), end_feel=said.get("FEEL")
    )


def _write(value: ReducedByEye, _limits: ReducedByEyeLimits) -> Iterator[str]:
    yield value.range
    yield from pain_words(value.pain)
    if value.end_feel:
        yield "end not reached" if value.end_feel == "not reached" else value.end_feel


def _touches(_limits: ReducedByEyeLimits, now: Now) -> Iterator[Touch]:
    yield from one_word_each("reduced_by_eye", "range", LEFT, now, "")
    if now:
        painful = now.get("pain") is True
        yield Touch("painful", {**now, "pain": not painful}, "reduced and painful", painful)


KIND = Kind(
    limits=ReducedByEyeLimits,
    value=ReducedByEye,
    check=no_complaint,
    is_normal=lambda _value, _limits: False,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("ASPECT", "FEEL"),
        said=fixed_set("options", "pain", "FEEL"),
        read=_read,
        write=_write,
        words=lambda _limits: tuple(SAID),
    ),
    bedside=TouchEntry(touches=_touches, normal=no_normal, measured=True, folds=True),
    # It has no number: what a criterion of an angle makes of it is a judgement of its own.
    criteria=("movement_pain", "end_feel"),
    field_words={"range": "how much is left"},
    group="range",
    slot=lambda _value: "range eye",
    # Nothing that is reduced is mild.
    mild=lambda _value, _limits, _most: False,
)
