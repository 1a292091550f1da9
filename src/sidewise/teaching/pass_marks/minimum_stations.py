"""The minimum number of stations derived at the pass mark, instead of typed.

The number of stations that a student at the pass mark is expected to pass is read off the
least-squares line of stations passed on totals: a criterion of the students' own, which moves with
the difficulty of the stations (Homer M, Med Teach 2023;45:1163-1169, abstract read, where reading
the expected number at the examination's mark is preferred among four ways; the line and the
rounding down are ours).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.ground.distributions import t_quantile


@dataclass(frozen=True, slots=True)
class StationsAsked:
    """If so many stations were needed: how many would fail by that rule alone, and in all."""

    stations: int
    by_this_alone: int
    failures: int


@dataclass(frozen=True, slots=True)
class MinimumStations:
    """`expected` stations passed at the pass mark (NaN: no line) and `needed`, rounded down.

    `choices` shows the neighbours of `needed` and what each would cost; `low` and `high` are 95%
    limits of the line at the mark.
    """

    expected: float
    low: float
    high: float
    needed: int | None
    choices: tuple[StationsAsked, ...]


def minimum_stations(total: Array, passed: Array, mark: float, stations: int) -> MinimumStations:
    """From complete students' totals (percent) and numbers of `stations` stations passed."""
    nan, n = float("nan"), total.size
    spread = float(((total - total.mean()) ** 2).sum()) if n else 0.0
    if n < 3 or spread <= 0 or np.isnan(mark):
        return MinimumStations(nan, nan, nan, None, ())
    slope = float(((total - total.mean()) * (passed - passed.mean())).sum()) / spread
    rest = passed - passed.mean() - slope * (total - total.mean())
    at = float(passed.mean()) + slope * (mark - float(total.mean()))
    error = np.sqrt((rest @ rest) / (n - 2) * (1 / n + (mark - total.mean()) ** 2 / spread))
    half = float(t_quantile(0.975, n - 2) * error)
    expected = min(max(at, 0.0), float(stations))
    needed = int(np.floor(expected + 1e-9))
    around = [k for k in range(needed - 1, needed + 3) if 0 < k <= stations]
    return MinimumStations(
        expected, at - half, at + half, needed,
        tuple(_at_least(total, passed, mark, k) for k in around),
    )  # fmt: skip


def _at_least(total: Array, passed: Array, mark: float, stations: int) -> StationsAsked:
    short, below = passed < stations, total < mark
    return StationsAsked(stations, int((short & ~below).sum()), int((short | below).sum()))
