"""Power by the Medical Research Council's grades."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from sidewise.ground.language import mark_text, say_text
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import (
    Meant,
    Options,
    Said,
    Shorthand,
    fixed_names,
    fixed_set,
    limited_words,
    one_word,
    plain_number,
)
from sidewise.kinds.common.touches import Now, Touch

Grade = Literal["0", "1", "2", "3", "4-", "4", "4+", "5", "reduced"]
# From no contraction to normal power; ordered, never averaged.
GRADES: tuple[Grade, ...] = ("0", "1", "2", "3", "4-", "4", "4+", "5")
REDUCED: Grade = "reduced"
"""Weaker than it should be, and nobody said by how much: below 5, and not one of the grades."""
NOT_GRADED = mark_text("power reduced, not graded")
WORDS = ("reduced", "power reduced", "reduced power")


class MrcLimits(Limits):
    """Power, Medical Research Council grade 0 to 5 with 4-, 4, 4+."""

    kind: Literal["mrc"] = "mrc"


class MrcValue(Value):
    """Power, MRC grade or "reduced" without one; `limited_by_pain` when pain stopped the effort.

    Effort that pain stopped is not weakness.
    """

    kind: Literal["mrc"]
    grade: Grade
    limited_by_pain: bool = False


def _phrase(value: MrcValue, _limits: MrcLimits) -> str:
    graded = value.grade != REDUCED
    power = say_text("power {grade}/5", grade=value.grade) if graded else say_text(NOT_GRADED)
    return power + (say_text(", limited by pain") if value.limited_by_pain else "")


def _read(said: Said, _limits: MrcLimits) -> Options | None:
    number = plain_number(said.get("number"), None, "N or normal")
    if _without_grade(said):
        value = {"kind": "mrc", "grade": REDUCED, "limited_by_pain": said.get("pain", False)}
        return Options((Meant(value, "weak, not graded"),))
    grade = said.get("grade") or (f"{number:g}" if number is not None else None)
    if grade not in GRADES or ("grade" in said and "number" in said):
        return None
    value = {"kind": "mrc", "grade": grade, "limited_by_pain": said.get("pain", False)}
    return Options((Meant(value, f"grade {grade}"),))


def _without_grade(said: Said) -> bool:
    """Weakness said in words alone; what is said of it beside a number is not this."""
    if {"number", "grade"} & set(said):
        return False
    return bool(said.get("weakness") or one_word(said, WORDS))


def _write(value: MrcValue, _limits: MrcLimits) -> Iterator[str]:
    yield value.grade
    yield from limited_words(value.limited_by_pain)


def _touches(_limits: MrcLimits, now: Now) -> Iterator[Touch]:
    for grade in reversed(GRADES):
        there = now.get("grade") == grade
        yield Touch(grade, {"kind": "mrc", "grade": grade}, "", there, grade == "5")
    reduced = now.get("grade") == REDUCED
    yield Touch("weak", {"kind": "mrc", "grade": REDUCED}, "weak, not graded", reduced)
    if now:
        limited = bool(now.get("limited_by_pain"))
        yield Touch("limited by pain", {**now, "limited_by_pain": not limited}, "", limited)


def _normal(_limits: MrcLimits) -> dict[str, Any]:
    return {"grade": "5"}


KIND = Kind(
    limits=MrcLimits,
    value=MrcValue,
    check=no_complaint,
    is_normal=lambda value, _limits: value.grade == "5" and not value.limited_by_pain,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("ASPECT", "UNIT"),
        said=fixed_set("number", "grade", "pain", "weakness", "options"),
        read=_read,
        write=_write,
        words=lambda _limits: WORDS,
        graded=True,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal, listed="power 5"),
    criteria=("power",),
)
