"""One number with its interval, and how both were had."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with an interval (95% unless said), its standard error and its method.

    `low`, `high` and `se` are None where no honest interval can be given; `note` says why.
    """

    value: float
    low: float | None = None
    high: float | None = None
    se: float | None = None
    method: str = ""
    note: str = ""

    @property
    def known(self) -> bool:
        """Whether there is a number at all."""
        return not math.isnan(self.value)

    def text(self, digits: int = 2, unit: str = "") -> str:
        """Value and interval in words, as they stand in sentences."""
        if not self.known:
            return "not computed"
        number = f"{self.value:.{digits}f}{unit}"
        if self.low is None or self.high is None or math.isnan(self.low + self.high):
            return number
        return f"{number} ({self.low:.{digits}f} to {self.high:.{digits}f})"


def unknown(note: str) -> Estimate:
    """No number, and why."""
    return Estimate(math.nan, note=note)
