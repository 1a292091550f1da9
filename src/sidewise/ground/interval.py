"""An interval, and the two normal quantiles used to compute one."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

NORMAL = NormalDist()

# The quantiles themselves, not 1.96 and 1.645: what is printed with the rounded ones differs in the
# fifth digit, beyond what any of those sources prints.
Z95 = 1.959963984540054
Z90 = 1.6448536269514722


@dataclass(frozen=True, slots=True)
class Interval:
    """From `low` to `high`, in the units of the estimate, and the method where it matters."""

    low: float
    high: float
    method: str = ""
