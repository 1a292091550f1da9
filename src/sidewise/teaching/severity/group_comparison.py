"""Groups of students compared with care.

A difference between groups may be ability, teaching, chance or unfairness; marks alone cannot say
which. Groups too small to be anonymous or steady are not shown, nor is one that could be worked
out from the rest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.ground.distributions import t_above, t_quantile
from sidewise.ground.interval import Z95
from sidewise.teaching.severity.severity_test import holm_adjusted_p

if TYPE_CHECKING:
    import pandas as pd


# Fewer students than this are not shown: a common disclosure limit; our judgement.
SMALLEST_GROUP = 10
FAMILY_ERROR = 0.05
CAUTION = (
    "A difference between groups may come from ability, teaching, chance or unfair marking; "
    "these figures cannot say which."
)


@dataclass(frozen=True, slots=True)
class GroupMean:
    """One group against the rest of those shown; all figures None where suppressed.

    `effect` is the difference in standard deviations within groups (Hedges' g) with 95% limits.
    """

    group: str
    n: int | None
    mean: float | None
    sd: float | None
    difference: float | None
    low: float | None
    high: float | None
    p_adjusted: float | None
    suppressed: bool
    effect: float | None = None
    effect_low: float | None = None
    effect_high: float | None = None


@dataclass(frozen=True, slots=True)
class StationGap:
    """A station where a group does better or worse than its own mark at the others predicts."""

    station: str
    group: str
    gap: float
    low: float
    high: float
    p_adjusted: float
    verdict: str


@dataclass(frozen=True)
class GroupComparison:
    """Groups, stations by group, what was suppressed and the caution that goes with all of it."""

    groups: tuple[GroupMean, ...]
    stations: tuple[StationGap, ...]
    warnings: tuple[str, ...]
    caution: str = CAUTION


def compare_groups(
    scores: pd.DataFrame, group: str, *, response: str = "score", smallest: int = SMALLEST_GROUP
) -> GroupComparison:
    """Mean marks of groups of students, each against the rest, and each station within groups.

    One mean per student; Welch's t interval (95%) for group less rest, Holm over groups. Station
    gap: the student's mark at the station less his or her mean at the others, group less rest, as
    deviation from the station's mean and about the group's median gap; Holm over stations and
    groups. Groups below `smallest`
    students are suppressed; where exactly one would be, the next smallest is as well, since the
    first could be worked out by subtraction.

    Welch BL, Biometrika 1947; 34:28-35 (from memory).
    """
    if smallest < 2:
        raise UserError("smallest", smallest, "at least 2 students")
    table = _wide(scores, group, response)
    sizes = table["group"].value_counts().sort_index()
    hidden = _hidden({str(k): int(v) for k, v in sizes.items()}, smallest)
    warnings = []
    if hidden:
        warnings.append(f"{len(hidden)} groups are not shown: fewer than {smallest} students, or "
                        "one that could be worked out from the rest.")  # fmt: skip
    shown = table[~table["group"].isin(hidden)]
    names = [str(name) for name in sizes.index if str(name) not in hidden]
    if len(names) < 2:
        warnings.append("Fewer than two groups are large enough: nothing is compared.")
    means = _means(shown, names)
    rows = [
        GroupMean(name, None, None, None, None, None, None, None, True) for name in sorted(hidden)
    ]
    return GroupComparison(tuple(means + rows), _stations(shown, names), tuple(warnings))


@dataclass(frozen=True, slots=True)
class EffectSize:
    """A difference in standard deviations, with 95% limits."""

    value: float
    low: float
    high: float


def hedges_g(one: Array, rest: Array) -> EffectSize:
    """Difference of means over the pooled standard deviation, corrected for few students.

    g = d (1 - 3 / (4 N - 9)), N = n1 + n2; variance N / (n1 n2) + g^2 / (2 (N - 3.94)), normal
    limits. NaN where nobody differs. Hedges LV, Olkin I, Statistical Methods for Meta-Analysis,
    1985 (from memory).
    """
    n, m = one.size, rest.size
    pooled = ((n - 1) * one.var(ddof=1) + (m - 1) * rest.var(ddof=1)) / (n + m - 2)
    if pooled <= 0:
        nan = float("nan")
        return EffectSize(nan, nan, nan)
    g = float((one.mean() - rest.mean()) / np.sqrt(pooled) * (1 - 3 / (4 * (n + m) - 9)))
    reach = Z95 * float(np.sqrt((n + m) / (n * m) + g**2 / (2 * (n + m - 3.94))))
    return EffectSize(g, g - reach, g + reach)


def shown_groups(rows: pd.DataFrame, group: str, smallest: int = SMALLEST_GROUP) -> list[str]:
    """Names of the groups of students that are large enough to be shown, in order."""
    belongs = rows.drop_duplicates("student")[group].astype(str)
    sizes = belongs.value_counts().sort_index()
    hidden = _hidden({str(k): int(v) for k, v in sizes.items()}, smallest)
    return [str(name) for name in sizes.index if str(name) not in hidden]


def _wide(scores: pd.DataFrame, group: str, response: str) -> pd.DataFrame:
    """One row per student: group, then a column per station."""
    for column in ("student", "station", group, response):
        if column not in scores.columns:
            raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {column}")
    rows = scores[["student", "station", group, response]].dropna()
    values = rows[response].to_numpy(dtype=float)
    if len(values) == 0 or not np.isfinite(values).all():
        raise UserError(response, "no marks or an infinite one", "finite marks")
    belongs = rows.groupby("student", observed=True)[group].agg(["first", "nunique"])
    if (belongs["nunique"] > 1).any():
        student = belongs.index[belongs["nunique"] > 1][0]
        raise UserError(f"{group} of student {student}", "several groups", "one group a student")
    wide = rows.pivot_table(index="student", columns="station", values=response, observed=True)
    wide.columns = [f"station {name}" for name in wide.columns]
    wide.insert(0, "group", belongs["first"].reindex(wide.index).astype(str))
    return wide


def _hidden(sizes: dict[str, int], smallest: int) -> set[str]:
    hidden = {name for name, n in sizes.items() if n < smallest}
    if len(hidden) == 1 and len(sizes) > 1:
        rest = sorted((n, name) for name, n in sizes.items() if name not in hidden)
        hidden.add(rest[0][1])
    return hidden


@dataclass(frozen=True)
class Welch:
    """A difference of two means with 95% limits, its p value and degrees of freedom."""

    difference: float
    low: float
    high: float
    p: float
    freedom: float = 1.0

    @property
    def error(self) -> float:
        """The standard error of the difference."""
        return (self.high - self.low) / 2 / float(t_quantile(0.975, self.freedom))

    def moved(self, origin: float, scale: float, origin_error: float = 0.0) -> Welch:
        """The same comparison about another origin, with its p value computed anew; the origin's
        own standard error is added as if it were independent."""
        half = float(np.hypot(self.error, origin_error) * t_quantile(0.975, self.freedom))
        difference = self.difference - origin
        if half == 0:
            p = float(difference == 0)
        else:
            error = half / float(t_quantile(0.975, self.freedom))
            p = float(2 * t_above(abs(difference) / error, self.freedom))
        low, high = (scale * (difference + side * half) for side in (-1, 1))
        return Welch(scale * difference, low, high, p, self.freedom)


def welch_difference(one: Array, rest: Array) -> Welch:
    """Mean of `one` less mean of `rest` by Welch's t; two of each at least."""
    difference = float(one.mean() - rest.mean())
    a, b = one.var(ddof=1) / len(one), rest.var(ddof=1) / len(rest)
    error = float(np.sqrt(a + b))
    if error == 0:
        return Welch(difference, difference, difference, float(difference == 0))
    freedom = (a + b) ** 2 / (a**2 / (len(one) - 1) + b**2 / (len(rest) - 1))
    reach = float(t_quantile(0.975, freedom)) * error
    p = float(2 * t_above(abs(difference) / error, freedom))
    return Welch(difference, difference - reach, difference + reach, p, float(freedom))


def _means(shown: pd.DataFrame, names: list[str]) -> list[GroupMean]:
    stations = shown.drop(columns="group")
    # About station means, so that a student who missed a hard station is not favoured.
    mean = (stations - stations.mean()).mean(axis=1).to_numpy() + float(stations.mean().mean())
    mine = {name: (shown["group"] == name).to_numpy() for name in names}
    if len(names) < 2:
        return [GroupMean(n, int(m.sum()), float(mean[m].mean()), float(mean[m].std(ddof=1)),
                          None, None, None, None, False) for n, m in mine.items()]  # fmt: skip
    tests = {name: welch_difference(mean[m], mean[~m]) for name, m in mine.items()}
    adjusted = holm_adjusted_p(np.array([t.p for t in tests.values()]))
    return [
        GroupMean(
            name, int(mine[name].sum()), float(mean[mine[name]].mean()),
            float(mean[mine[name]].std(ddof=1)), t.difference, t.low, t.high, float(p), False,
            *_effect(mean[mine[name]], mean[~mine[name]]),
        )
        for (name, t), p in zip(tests.items(), adjusted, strict=True)
    ]  # fmt: skip


def _effect(one: Array, rest: Array) -> tuple[float | None, ...]:
    g = hedges_g(one, rest)
    return (g.value, g.low, g.high) if g.value == g.value else (None, None, None)


def _stations(shown: pd.DataFrame, names: list[str]) -> tuple[StationGap, ...]:
    stations = shown.drop(columns="group")
    if len(names) < 2 or stations.shape[1] < 2:
        return ()
    deviation = (stations - stations.mean()).to_numpy()
    found: list[tuple[str, str, Welch]] = []
    for k, label in enumerate(stations.columns):
        others = np.delete(deviation, k, axis=1)
        seen = np.isfinite(deviation[:, k]) & np.isfinite(others).any(axis=1)
        gap = np.full(len(deviation), np.nan)
        gap[seen] = deviation[seen, k] - np.nanmean(others[seen], axis=1)
        # Of two groups the second's gap is the first's turned round: shown once.
        for name in names if len(names) > 2 else names[:1]:
            mine = (shown["group"] == name).to_numpy() & seen
            rest = ~(shown["group"] == name).to_numpy() & seen
            if min(mine.sum(), rest.sum()) >= 2:
                found.append(
                    (label.removeprefix("station "), name, welch_difference(gap[mine], gap[rest]))
                )
    found = _recentred(found, stations.shape[1])
    adjusted = holm_adjusted_p(np.array([t.p for _, _, t in found])) if found else np.zeros(0)
    return tuple(
        StationGap(station, name, t.difference, t.low, t.high, float(p),
                   "look at this station" if p < FAMILY_ERROR else "no gap seen")
        for (station, name, t), p in zip(found, adjusted, strict=True)
    )  # fmt: skip


def _recentred(found: list[tuple[str, str, Welch]], stations: int) -> list[tuple[str, str, Welch]]:
    """Gaps about the median gap of their group: one unfair station lowers what the *others* are
    held against, so against the mean all would look like gaps the other way."""
    middle = {
        name: float(np.median([t.difference for _, n, t in found if n == name]))
        for name in {name for _, name, _ in found}
    }
    # A gap of g at one station is g less -g/(S-1) against the others.
    scale = (stations - 1) / stations
    return [(station, name, t.moved(middle[name], scale)) for station, name, t in found]
