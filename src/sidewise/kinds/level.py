"""How high a hand reaches behind the back: a rung of the region's ladder, or rungs lower."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal

from pydantic import Field, model_validator

from sidewise.errors import UserError
from sidewise.ground.language import say_count, say_text, term
from sidewise.kinds.common.kind import Kind, Limits, Measure, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    fixed_names,
    fixed_set,
    one_meaning,
    one_word,
    pain_words,
    plain_number,
)
from sidewise.kinds.common.numbers import range_error
from sidewise.kinds.common.touches import no_normal, no_touches
from sidewise.kinds.common.vocabulary import Vocabulary


class LevelLimits(Limits):
    """The highest spinal level reached behind the back, on the region's ladder."""

    kind: Literal["level"] = "level"
    ladder: tuple[str, ...] = ()

    def rung(self, level: str) -> int:
        """The place of a level on the ladder, from the lowest (0) upwards; UserError if on none."""
        if level not in self.ladder:
            raise UserError("level", level, f"one of {', '.join(self.ladder)}")
        return self.ladder.index(level)


class LevelValue(Value):
    """The highest vertebra the thumb reaches behind the back, or how many lower than the other."""

    kind: Literal["level"]
    level: str | None = None
    lower_by: int | None = Field(default=None, ge=1, le=25)
    pain: bool | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> LevelValue:
        if (self.level is None) == (self.lower_by is None):
            raise ValueError("either the level reached, or how many levels lower than the other")
        return self


def _check(value: LevelValue, limits: LevelLimits) -> UserError | None:
    if value.level is None:
        most = len(limits.ladder) - 1
        return range_error("lower_by", value.lower_by, 1, most, "levels")
    if value.level in limits.ladder:
        return None
    return UserError("level", value.level, f"one of {', '.join(limits.ladder)}")


def _misfit(limits: LevelLimits, _words: Vocabulary) -> str | None:
    return None if len(limits.ladder) > 1 else "a level needs a region with a ladder"


def _schema(schema: dict[str, Any], words: Vocabulary) -> dict[str, Any]:
    level = {**schema["properties"]["level"], "enum": [*words.ladder, None]}
    return {**schema, "properties": {**schema["properties"], "level": level}}


def _phrase(value: LevelValue, _limits: LevelLimits) -> str:
    pain = say_text(", painful") if value.pain else ""
    if value.level is not None:
        return say_text("reaches {level}", level=term(value.level)) + pain
    return _lower(value.lower_by or 0) + pain


def _lower(by: int) -> str:
    return say_count(
        "{count} level lower than the other side", "{count} levels lower than the other side", by
    )


def _read(said: Said, limits: LevelLimits) -> Options | None:
    lower = plain_number(said.get("number"), "levels")
    if lower is not None and lower.is_integer() and "options" not in said:
        return one_meaning("level", lower_by=int(lower), pain=said.get("pain"))
    level = one_word(said, limits.ladder) if "number" not in said else None
    return one_meaning("level", level=level, pain=said.get("pain")) if level else None


def _write(value: LevelValue, _limits: LevelLimits) -> Iterator[str]:
    yield value.level if value.level is not None else f"{value.lower_by} levels lower"
    yield from pain_words(value.pain)


KIND = Kind(
    limits=LevelLimits,
    value=LevelValue,
    check=_check,
    is_normal=lambda _value, _limits: None,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("ASPECT", "UNIT"),
        said=fixed_set("options", "pain", "number"),
        read=_read,
        write=_write,
        words=lambda limits: limits.ladder,
    ),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, measured=True, read_off=True),
    criteria=("level_loss", "movement_pain"),
    supplied=lambda words: {"ladder": words.ladder},
    misfit=_misfit,
    schema=_schema,
    field_words={"level": "the level", "lower_by": "the levels lower"},
    group="range",
    measure=Measure(
        quantity="level",
        unit="level",
        words="levels",
        number=lambda value, limits: float(limits.rung(value.level)),
        of=lambda value: value.level is not None,
        # A level is felt with the thumb on the spine: the only way there is.
        way="palpation",
    ),
    brief=lambda value: value.level and term(value.level),
)
