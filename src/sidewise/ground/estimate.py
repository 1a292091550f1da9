"""An estimate, its interval and its method."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with an interval (95% unless stated), its standard error and its method.

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
        """Whether there is an estimate at all."""
        return not math.isnan(self.value)

    def text(self, digits: int = 2, unit: str = "") -> str:
        """Value and interval in words, ready for a sentence."""
        if not self.known:
            return "not computed"
        number = f"{self.value:.{digits}f}{unit}"
        if self.low is None or self.high is None or math.isnan(self.low + self.high):
            return number
        return f"{number} ({self.low:.{digits}f} to {self.high:.{digits}f})"


def no_estimate(note: str) -> Estimate:
    """No estimate, and the reason."""
    return Estimate(math.nan, note=note)
