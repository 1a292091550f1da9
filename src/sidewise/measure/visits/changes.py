"""Has one measure changed between two visits? Numbers in, numbers out."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from sidewise.errors import UserError
from sidewise.ground.interval import NORMAL, Z95


@dataclass(frozen=True, slots=True)
class ChangeTest:
    """Later minus earlier, with the smallest change that error alone seldom produces."""

    change: float
    threshold: float
    standard_error: float
    real: bool
    probability: float


def change_test(
    earlier: float, later: float, sem_earlier: float, sem_later: float, between_methods: float = 0.0
) -> ChangeTest:
    """Whether a reading changed by more than the error of the two readings.

    SE = sqrt(SEM1^2 + SEM2^2) with the errors of the instruments actually used; where they differ,
    at least `between_methods`, the SD of differences between the two instruments (0 for one
    instrument). Real when |change| > 1.96 SE: with one instrument this is MDC95. `probability`
    is Phi(|change| / SE), that the true change has the sign seen (flat prior, normal error).

    Weir JP, J Strength Cond Res 2005; 19(1):231-240. UserError for an SEM of 0 or less.
    """
    for name, sem in (("sem_earlier", sem_earlier), ("sem_later", sem_later)):
        if not sem > 0:
            raise UserError(name, sem, "a standard error above 0")
    se = max(hypot(sem_earlier, sem_later), between_methods)
    change = later - earlier
    return ChangeTest(change, Z95 * se, se, abs(change) > Z95 * se, NORMAL.cdf(abs(change) / se))
