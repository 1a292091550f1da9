"""A chance in whole percent, as people read it: never 0% and never 100%."""

from __future__ import annotations

from sidewise.ground.language import say_text


def percent(probability: float) -> str:
    """A probability as a whole percentage; never 0 or 100, which would claim certainty."""
    if probability < 0.01:
        return say_text("under 1%")
    return say_text("over 99%") if probability > 0.99 else f"{probability * 100:.0f}%"
