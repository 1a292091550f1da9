"""A sign: absent, present, or one of the item's own ordered grades; or present and not graded."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import model_validator

from sidewise.errors import UserError
from sidewise.ground.language import say_text, term
from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value
from sidewise.kinds.common.line import (
    Meant,
    Options,
    Said,
    Shorthand,
    fixed_set,
    one_meaning,
    place_said,
    word_with_text,
)
from sidewise.kinds.common.touches import Now, Touch, one_word_each

SEEN_OR_NOT = ("absent", "present")
UNGRADED = "present"
"""Of an item with grades of its own: it is there, and nobody said which grade."""


class SignLimits(Limits):
    """Seen or not seen, or the item's own ordered grades; the first grade is the normal one."""

    kind: Literal["sign"] = "sign"
    grades: tuple[str, ...] = SEEN_OR_NOT
    places: tuple[str, ...] = ()

    @model_validator(mode="after")
    def _two_grades(self) -> SignLimits:
        if len(set(self.grades)) < 2 or len(set(self.grades)) != len(self.grades):
            raise ValueError("grades: at least two different words, mildest first")
        return self

    @property
    def may_be_ungraded(self) -> bool:
        """Whether the item has several abnormal grades, so that "present" names none of them."""
        return len(self.grades) > 2 and UNGRADED not in self.grades

    def is_ungraded(self, grade: str) -> bool:
        """Whether the word says that the sign is there and nothing of how much."""
        return grade == UNGRADED and self.may_be_ungraded


class SignValue(Value):
    """Absent, present, or one of the item's own grades; "present" where the grade is not known."""

    kind: Literal["sign"]
    grade: str
    place: str | None = None


def _check(value: SignValue, limits: SignLimits) -> UserError | None:
    if value.grade not in limits.grades and not limits.is_ungraded(value.grade):
        return UserError("grade", value.grade, f"one of {', '.join(limits.grades)}")
    if value.place and limits.places and value.place not in limits.places:
        return UserError("place", value.place, f"one of {', '.join(limits.places)}")
    return None


def _phrase(value: SignValue, limits: SignLimits) -> str:
    ungraded = limits.is_ungraded(value.grade)
    grade = say_text("present, not graded") if ungraded else term(value.grade)
    return grade + (f" ({term(value.place)})" if value.place else "")


def _mild(value: SignValue, limits: SignLimits, most: str | float) -> bool:
    if limits.is_ungraded(value.grade):
        return False
    return limits.grades.index(value.grade) <= limits.grades.index(str(most))


def _all_grades(limits: SignLimits) -> tuple[str, ...]:
    return (*limits.grades, UNGRADED) if limits.may_be_ungraded else limits.grades


def _names(limits: SignLimits) -> tuple[str, ...]:
    return ("AT", "RESULT") if limits.grades == SEEN_OR_NOT else ("AT",)


def _read(said: Said, limits: SignLimits) -> Options | None:
    if "NAMED" in said:
        return _read_named(said, limits)
    options = list(said.get("options", ()))
    if "DENIED" in said:
        there = not options and limits.grades[0] in NOTHING_SEEN and len(said) == 1
        return one_meaning("sign", grade=limits.grades[0]) if there else None
    grades = [word for word in options if word in _all_grades(limits)]
    places = [word for word in options if word not in _all_grades(limits)]
    if "RESULT" in said and limits.grades == SEEN_OR_NOT and not grades:
        grades = {"positive": ["present"], "negative": ["absent"]}.get(said["RESULT"], [])
    place = place_said(said, places, limits.places)
    if len(grades) != 1 or place is False:
        return None
    return one_meaning("sign", grade=grades[0], place=place)


def _read_named(said: Said, limits: SignLimits) -> Options | None:
    """Of "SSP wasting", where the name itself says what is there: how much is asked."""
    if not limits.may_be_ungraded:
        return None
    if "DENIED" in said:
        return one_meaning("sign", grade=limits.grades[0]) if len(said) == 2 else None
    grades = said.get("options", ())
    if not grades:
        some = (*limits.grades[1:], UNGRADED)
        return Options(tuple(Meant({"kind": "sign", "grade": grade}, grade) for grade in some),
                       "how much")  # fmt: skip
    # "SSP wasting full" contradicts itself.
    if len(grades) != 1 or grades[0] not in (*limits.grades[1:], UNGRADED):
        return None
    return one_meaning("sign", grade=grades[0])


def _write(value: SignValue, _limits: SignLimits) -> Iterator[str]:
    yield value.grade
    yield from word_with_text("at", value.place)


def _touches(limits: SignLimits, now: Now) -> Iterator[Touch]:
    yield from one_word_each("sign", "grade", limits.grades, now, limits.grades[0])
    if limits.may_be_ungraded:
        there = limits.is_ungraded(now.get("grade", ""))
        yield Touch("not graded", {"kind": "sign", "grade": UNGRADED}, "present, not graded", there)
    if limits.places and now and now["grade"] != limits.grades[0]:
        for place in limits.places:
            there = now.get("place") == place
            yield Touch(place, {**now, "place": None if there else place}, "", there)


def _normal(limits: SignLimits) -> dict[str, Any]:
    return {"grade": limits.grades[0]}


NOTHING_SEEN = ("absent", "none")
"""First grades that say that there is nothing, not that something is as it should be."""


KIND = Kind(
    limits=SignLimits,
    value=SignValue,
    check=_check,
    is_normal=lambda value, limits: value.grade == limits.grades[0],
    phrase=_phrase,
    line=Shorthand(
        names=_names,
        said=fixed_set("options", "RESULT", "AT", "DENIED", "NAMED"),
        read=_read,
        write=_write,
        words=lambda limits: (*_all_grades(limits), *limits.places),
    ),
    bedside=TouchEntry(touches=_touches, normal=_normal),
    criteria=("sign",),
    mild=_mild,
    normal_said=lambda limits: "no" if limits.grades[0] in NOTHING_SEEN else "plain",
)
