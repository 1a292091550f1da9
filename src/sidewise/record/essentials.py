"""What was computed of a record when it was signed, in short; kept with the signature.

So that a change of the knowledge can say which signed conclusion would be said otherwise now. What
was signed stays as it was signed.
"""

from __future__ import annotations

from typing import Literal

from pydantic import Field, model_validator

from sidewise.ground.frozen import Frozen


class EssentialFigure(Frozen):
    """A condition as it stood then: probabilities from 0 to 1; no side for the whole person."""

    condition: str = Field(min_length=1, max_length=80)
    side: Literal["left", "right"] | None = None
    posterior: float = Field(ge=0, le=1)
    low: float = Field(ge=0, le=1)
    high: float = Field(ge=0, le=1)

    @model_validator(mode="after")
    def _low_to_high(self) -> EssentialFigure:
        if self.low > self.high:
            raise ValueError("low to high")
        return self


class Essentials(Frozen):
    """The version of the knowledge, the raised flags by label, and the leading conditions.

    figures: the likeliest first, side by side, then of the whole person.
    """

    knowledge: str = Field(min_length=1, max_length=80)
    flags: tuple[str, ...] = ()
    figures: tuple[EssentialFigure, ...] = ()
