"""How far a rule is known to hold where some of what it reads is doubtful or stated differently.

Four values in one. Each is NO, UNKNOWN or YES in Kleene's strong three-valued logic, and they
differ in what they make of doubts and disputes:

- `best`: every dispute speaks for the rule, every doubt is unknown;
- `worst`: every dispute speaks against it, every doubt is unknown;
- `high`: disputes and doubts both speak for it;
- `low`: disputes and doubts both speak against it.

All and any are monotone, and "not" exchanges best with worst and high with low, so one walk over
a rule gives the answers of all the records that settling its disputes could lead to. That is why
the work grows with the number of disputes and not with the number of ways to settle them.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final, NamedTuple

NO: Final = 0
UNKNOWN: Final = 1
YES: Final = 2


class Truth(NamedTuple):
    """What a rule or a leaf comes to; low <= worst <= best <= high."""

    low: int
    worst: int
    best: int
    high: int

    @property
    def never(self) -> bool:
        """Whether nothing that is still open could make it hold."""
        return self.high == NO

    @property
    def undisputed(self) -> bool:
        """Whether it holds however the disputes are settled."""
        return self.worst == YES


HOLDS = Truth(YES, YES, YES, YES)
FAILS = Truth(NO, NO, NO, NO)
UNSTATED = Truth(UNKNOWN, UNKNOWN, UNKNOWN, UNKNOWN)
DOUBTED = Truth(NO, UNKNOWN, UNKNOWN, YES)
"""Something was recorded that may mean it: not sure, not possible, withheld, how not stated."""


def any_truth(parts: Iterable[Truth]) -> Truth:
    """At least one of them; parts must not be empty."""
    return Truth(*map(max, zip(*parts, strict=True)))


def every_truth(parts: Iterable[Truth]) -> Truth:
    """All of them; parts must not be empty."""
    return Truth(*map(min, zip(*parts, strict=True)))


def count_truth(parts: Sequence[Truth], needed: int) -> Truth:
    """At least `needed` of them: the needed-largest of each of the four values."""
    if len(parts) < needed:
        return FAILS
    return Truth(*(sorted(values)[-needed] for values in zip(*parts, strict=True)))


def opposite(inner: Truth) -> Truth:
    """Not: what speaks for the rule speaks against its opposite."""
    return Truth(YES - inner.high, YES - inner.best, YES - inner.worst, YES - inner.low)


def excepted(then: Truth, exception: Truth) -> Truth:
    """`then`, except where the exception is known to hold; one not known holds nothing back."""
    against = reversed(exception)
    return Truth(*(NO if e == YES else t for t, e in zip(then, against, strict=True)))


def of_claims(claims: Sequence[Truth]) -> Truth:
    """A leaf for which several values were claimed: each may be the true one."""
    if len(claims) == 1:
        return claims[0]
    lows, worsts, bests, highs = zip(*claims, strict=True)
    return Truth(min(lows), min(worsts), max(bests), max(highs))
