"""When a finding counts: the closed set of criteria that readings, flags and variants are made of.

A criterion is data. It is judged against a record in `sidewise.reason.judging.judge`; here is only
its shape, so that a misspelt word in a knowledge file is refused when the file is loaded.
"""

from __future__ import annotations

from typing import Annotated, Literal, get_args

from pydantic import Field, model_validator

from sidewise.ground.frozen import Frozen
from sidewise.kinds.angle import EndFeel as EndFeelWord

Mode = Literal["active", "passive", "resisted"]


class Sign(Frozen):
    """A sign of at least this grade (default: anything but the first, normal, grade).

    where: found elsewhere, or where is not said, it says nothing.
    """

    test: Literal["sign"]
    at_least: str | None = None
    where: tuple[str, ...] = ()


class Tender(Frozen):
    """Tenderness of at least this grade (1 to 3)."""

    test: Literal["tenderness"]
    at_least: int = Field(default=1, ge=1, le=3)


class Result(Frozen):
    """A manoeuvre that reproduced `aspect` (any: positive as a whole), where `where` if stated.

    `lag_over` sets the least lag in degrees; `without` names an aspect that must not be there.
    """

    test: Literal["result"]
    aspect: tuple[str, ...] = ()
    where: tuple[str, ...] = ()
    lag_over: float | None = None
    without: tuple[str, ...] = ()


class Angle(Frozen):
    """An angle at most, or at least, so many degrees in the given mode."""

    test: Literal["angle"]
    mode: Mode
    at_most: float | None = None
    at_least: float | None = None


class SideLoss(Frozen):
    """Less than the other side by `at_least` degrees, or below `or_fraction` of it.

    Where the other side is no yardstick, below `norm_at_most` degrees instead.
    """

    test: Literal["side_loss"]
    mode: Mode
    at_least: float
    or_fraction: float | None = None
    norm_at_most: float | None = None


class SideGain(Frozen):
    """More than the other side by `at_least` degrees."""

    test: Literal["side_gain"]
    mode: Mode
    at_least: float


class ActiveGap(Frozen):
    """Active range short of passive range by `at_least` degrees; `by_eye` where either is guessed.

    An instrument that is not named counts as the eye.
    """

    test: Literal["active_gap"]
    at_least: float
    by_eye: float | None = None


class PainOnMovement(Frozen):
    """Pain was recorded with the movement in this mode."""

    test: Literal["movement_pain"]
    mode: Mode


class EndFeel(Frozen):
    """What stopped the movement was one of these; a feel that was not stated is unknown."""

    test: Literal["end_feel"]
    mode: Mode
    values: tuple[EndFeelWord, ...] = Field(min_length=1)


class Arc(Frozen):
    """Pain on the way up that overlaps the part from `low` to `high` degrees."""

    test: Literal["arc"]
    low: float
    high: float


class Power(Frozen):
    """MRC grade below the one named; grades limited by pain count only if `also_if_painful`."""

    test: Literal["power"]
    below: Literal["1", "2", "3", "4-", "4", "4+", "5"]
    also_if_painful: bool = False


class OneOf(Frozen):
    """The choice, reflex, sensation or pulse is one of these words."""

    test: Literal["one_of"]
    values: tuple[str, ...]


class LevelLoss(Frozen):
    """Reaches at least so many vertebrae less than the other side."""

    test: Literal["level_loss"]
    at_least: int


class Count(Frozen):
    """A count of at least."""

    test: Literal["count"]
    at_least: int


class Length(Frozen):
    """A length of at least so many centimetres."""

    test: Literal["length"]
    at_least: float


class Seconds(Frozen):
    """Symptoms within `at_most` seconds, or something that takes more than `over` seconds."""

    test: Literal["seconds"]
    at_most: float | None = None
    over: float | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> Seconds:
        if (self.at_most is None) == (self.over is None):
            raise ValueError("either at_most or over")
        return self


class Vital(Frozen):
    """A vital sign at least, or at most, the figure (in the item's unit)."""

    test: Literal["vital"]
    at_least: float | None = None
    at_most: float | None = None


class VitalGap(Frozen):
    """The two sides differ by at least the figure (in the item's unit)."""

    test: Literal["vital_gap"]
    at_least: float


class Answer(Frozen):
    """A history item answered with one of these."""

    test: Literal["answer"]
    values: tuple[Literal["yes", "no", "unsure"], ...] = ("yes",)


class AllNormal(Frozen):
    """Examined, and the item's normal value was found (in this mode, where one is named)."""

    test: Literal["normal"]
    mode: Mode | None = None


class PlaceKindIs(Frozen):
    """A place was marked with one of these words (scar, swelling ...)."""

    test: Literal["place"]
    what: tuple[str, ...] = ()


Criterion = Annotated[
    Sign
    | Tender
    | Result
    | Angle
    | SideLoss
    | SideGain
    | ActiveGap
    | PainOnMovement
    | EndFeel
    | Arc
    | Power
    | OneOf
    | LevelLoss
    | Count
    | Length
    | Seconds
    | Vital
    | VitalGap
    | Answer
    | AllNormal
    | PlaceKindIs,
    Field(discriminator="test"),
]

TESTS: tuple[str, ...] = tuple(
    get_args(criterion.model_fields["test"].annotation)[0]
    for criterion in get_args(get_args(Criterion)[0])
)
"""The name of every criterion."""
