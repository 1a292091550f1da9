"""Is a difference between the sides real? Numbers in, numbers out."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from sidewise.errors import UserError
from sidewise.ground.interval import NORMAL, Z95


@dataclass(frozen=True, slots=True)
class HealthySpread:
    """Differences between the sides of healthy people, left minus right: mean and SD."""

    mean: float
    sd: float

    def mirrored(self) -> HealthySpread:
        """The same people with left and right exchanged."""
        return HealthySpread(-self.mean, self.sd)


@dataclass(frozen=True, slots=True)
class ReadingError:
    """Error of one reading, or, with `of_difference`, already of a difference between sides."""

    sem: float
    of_difference: bool = False

    def __post_init__(self) -> None:
        if not self.sem > 0:
            raise UserError("sem", self.sem, "a standard error above 0")

    @property
    def of_side_difference(self) -> float:
        """Standard error of a left minus right difference, independent errors: sqrt(2) SEM."""
        return self.sem if self.of_difference else sqrt(2) * self.sem

    @property
    def of_one(self) -> float:
        """Standard error of one reading; for a row of differences taken as large as theirs.

        Errors of the two sides go together (one examiner, one habit), so dividing by sqrt(2)
        would flatter: de Winter et al., BMC Musculoskelet Disord 2004; 5:18 found limits for the
        difference as wide as for one side.
        """
        return self.sem


@dataclass(frozen=True, slots=True)
class DifferenceTest:
    """Left minus right compared with healthy people and with the error of measurement."""

    difference: float
    error_threshold: float
    healthy_low: float
    healthy_high: float
    beyond_error: bool
    beyond_healthy: bool
    probability: float
    clinical_probability: float

    @property
    def real(self) -> bool:
        """Beyond both the error of measurement and the healthy spread."""
        return self.beyond_error and self.beyond_healthy

    @property
    def band_low(self) -> float:
        """Differences above this and below `band_high` do not count as real."""
        return min(self.healthy_low, -self.error_threshold)

    @property
    def band_high(self) -> float:
        """The upper edge of the differences that do not count as real."""
        return max(self.healthy_high, self.error_threshold)

    @property
    def threshold(self) -> float:
        """How large a difference in this direction must be to count as real."""
        return self.band_high if self.difference >= 0 else -self.band_low


def difference_test(
    left: float, right: float, error: ReadingError, healthy: HealthySpread, clinical: float
) -> DifferenceTest:
    """Whether d = left - right is real, and how likely the true difference is.

    Real when |d - mean| > 1.96 SD of healthy differences and |d| > 1.96 SE, where SE is
    sqrt(2) SEM, or the SEM itself where it is already that of a difference. `probability` is
    Phi(|d| / SE): that the true difference has the sign seen, given d alone (flat prior, normal
    error, no bias). `clinical_probability` is Phi((|d| - clinical) / SE). All in one unit.

    Weir JP, J Strength Cond Res 2005; 19(1):231-240 for 1.96 sqrt(2) SEM.
    """
    d, se = left - right, error.of_side_difference
    reach = Z95 * healthy.sd
    return DifferenceTest(
        difference=d,
        error_threshold=Z95 * se,
        healthy_low=healthy.mean - reach,
        healthy_high=healthy.mean + reach,
        beyond_error=abs(d) > Z95 * se,
        beyond_healthy=abs(d - healthy.mean) > reach,
        probability=NORMAL.cdf(abs(d) / se),
        clinical_probability=NORMAL.cdf((abs(d) - clinical) / se),
    )


def cautious_difference_test(
    left: float, right: float, error: ReadingError, healthy: HealthySpread, clinical: float
) -> DifferenceTest:
    """As `difference_test`, where it is not known which side is dominant.

    The healthy interval is the union of both assignments, so only what would be real whichever
    side is dominant counts.
    """
    one = difference_test(left, right, error, healthy, clinical)
    other = difference_test(left, right, error, healthy.mirrored(), clinical)
    return DifferenceTest(
        difference=one.difference,
        error_threshold=one.error_threshold,
        healthy_low=min(one.healthy_low, other.healthy_low),
        healthy_high=max(one.healthy_high, other.healthy_high),
        beyond_error=one.beyond_error,
        beyond_healthy=one.beyond_healthy and other.beyond_healthy,
        probability=one.probability,
        clinical_probability=one.clinical_probability,
    )
