"""Tenderness in four grades, and whether it is the patient's own pain."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.language import mark_text, say_text, term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import (
    Meant,
    Options,
    Said,
    Shorthand,
    fixed_names,
    fixed_set,
    one_meaning,
    plain_number,
)
from sidewise.kinds.common.touches import Now, Touch

PHRASES = (
    mark_text("not tender"),
    mark_text("tender (1, says so)"),
    mark_text("tender (2, winces)"),
    mark_text("tender (3, withdraws)"),
)
ASKED = ("1 says so", "2 winces", "3 withdraws")
TOUCHES = ("none", "says so", "winces", "withdraws")


class TendernessLimits(Limits):
    """Tenderness 0 none, 1 said, 2 winces, 3 withdraws."""

    kind: Literal["tenderness"] = "tenderness"


class Tenderness(Value):
    """0 none, 1 says so, 2 winces, 3 withdraws; `familiar` if it is the patient's own pain."""

    kind: Literal["tenderness"]
    grade: int = Field(ge=0, le=3)
    familiar: bool | None = None


def _phrase(value: Tenderness, _limits: TendernessLimits) -> str:
    own = say_text(", the patient's own pain") if value.familiar else ""
    return term(PHRASES[value.grade]) + own


def _read(said: Said, _limits: TendernessLimits) -> Options | None:
    familiar, word = said.get("FAMILIAR"), said.get("TENDER")
    number = said.get("number")
    if "DENIED" in said:
        return one_meaning("tenderness", grade=0) if len(said) == 1 else None
    if number is not None:
        grade = plain_number(number, None)
        # "AC tender R 2, L 0": behind a number the word says what was graded, not that it hurts.
        if grade not in (0, 1, 2, 3) or word == "not tender":
            return None
        return one_meaning("tenderness", grade=int(grade), familiar=familiar)
    if word == "not tender":
        return one_meaning("tenderness", grade=0, familiar=familiar)
    return _how_tender(familiar) if word == "tender" else None


def _how_tender(familiar: bool | None) -> Options:
    own = {} if familiar is None else {"familiar": familiar}
    meant = [
        Meant({"kind": "tenderness", "grade": grade, **own}, label)
        for grade, label in enumerate(ASKED, start=1)
    ]
    return Options(tuple(meant), "how tender")


def _write(value: Tenderness, _limits: TendernessLimits) -> Iterator[str]:
    yield str(value.grade)
    if value.familiar is not None:
        yield "familiar" if value.familiar else "no familiar"


def _touches(_limits: TendernessLimits, now: Now) -> Iterator[Touch]:
    for grade, words in enumerate(TOUCHES):
        label, said = (str(grade), f"{grade}, {words}") if grade else (words, "")
        value = {"kind": "tenderness", "grade": grade}
        yield Touch(label, value, said, now.get("grade") == grade, not grade)
    if now.get("grade"):
        own = bool(now.get("familiar"))
        value = {**now, "familiar": not own}
        yield Touch("own pain", value, "own pain, as the patient knows it", own)


def _normal(_limits: TendernessLimits) -> dict[str, Any]:
    return {"grade": 0}


def _cell(content: Any) -> int:
    """The grade in a text column; a half grade is refused, not cut down."""
    try:
        number = float(content)
    except (TypeError, ValueError, OverflowError):
        number = math.nan
    if number not in (0, 1, 2, 3):
        raise UserError("grade", content, "a grade of tenderness: 0, 1, 2 or 3")
    return int(number)


KIND = Kind(
    limits=TendernessLimits,
    value=Tenderness,
    check=no_complaint,
    is_normal=lambda value, _limits: value.grade == 0,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("TENDER", "FAMILIAR"),
        said=fixed_set("number", "TENDER", "FAMILIAR", "DENIED"),
        read=_read,
        write=_write,
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal, listed="not tender"),
    criteria=("tenderness",),
    cells={"grade": _cell},
    mild=lambda value, _limits, most: bool(value.grade <= float(most)),
)
