"""Numbers with limits, and what they are read with."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from sidewise.errors import UserError

Instrument = Literal[
    "goniometer", "inclinometer", "phone", "photograph", "eye", "tape", "dynamometer"
]


def _number(value: object) -> object:
    # Python counts True as 1; a yes is no angle.
    if isinstance(value, bool):
        raise ValueError("a number")
    return value


Number = Annotated[float, BeforeValidator(_number)]
"""A number that is not a yes or no."""
# Not a clinical range: beyond this a typing slip is certain. NaN fails here too.
Degrees = Annotated[float, BeforeValidator(_number), Field(ge=-180, le=360, description="degrees")]


def range_error(
    field: str, number: float | None, low: float, high: float, unit: str
) -> UserError | None:
    """The error of a number outside the item's limits; None where it is inside or not given."""
    if number is None or low <= number <= high:
        return None
    return UserError(field, number, f"{unit} from {low:g} to {high:g}",
                     "Check for a missing decimal point or a slipped digit.")  # fmt: skip
