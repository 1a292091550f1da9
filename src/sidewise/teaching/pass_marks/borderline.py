"""Pass marks set by how students did: borderline regression, borderline and contrasting groups.

All marks are percent of a station; ratings are places on the ordered scale. Each method answers
for one station, and for the examination as the mean of its stations.

Methods in general: Ben-David MF, Med Teach 2000;22:120-130 (content from memory); Wood TJ,
Humphrey-Murto SM, Norman GR, Adv Health Sci Educ 2006;11:115-122 (abstract read).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sidewise.ground.arrays import Array, BoolArray
from sidewise.ground.distributions import normal_below, t_quantile
from sidewise.ground.estimate import Estimate, no_estimate


@dataclass(frozen=True, slots=True)
class BorderlineRating:
    """Where the borderline rating stands, and the range of ratings that count as borderline.

    `position` on the scale of ratings; `low` and `high` lie half way to its neighbours (infinite at
    an end of the scale), so that scales with unequal steps are counted right.
    """

    position: float
    low: float
    high: float


def borderline_rating(positions: Sequence[float], place: int) -> BorderlineRating:
    """The borderline rating at `place` of a scale whose ratings stand at these `positions`."""
    at = float(positions[place])
    low = (at + positions[place - 1]) / 2 if place else -np.inf
    high = (at + positions[place + 1]) / 2 if place + 1 < len(positions) else np.inf
    return BorderlineRating(at, float(low), float(high))


def _rating(borderline: float | BorderlineRating) -> BorderlineRating:
    """A bare number stands on a scale of whole steps."""
    if isinstance(borderline, BorderlineRating):
        return borderline
    return BorderlineRating(borderline, borderline - 0.5, borderline + 0.5)


@dataclass(frozen=True, slots=True)
class BorderlineRegression:
    """The line of marks on ratings at one station and its value at the borderline rating.

    `cut` (t interval, standard error of the fitted line), `slope` (marks per grade, t interval),
    `intercept`, `r_squared`, `residual_sd`, `n` performances with both mark and rating,
    `borderline` how many were rated borderline, `at_or_below` how many at it or lower.
    """

    cut: Estimate
    slope: Estimate
    intercept: float
    r_squared: float
    residual_sd: float
    n: int
    borderline: int
    at_or_below: int
    warnings: tuple[str, ...] = ()


def borderline_regression(
    mark: Array, rating: Array, borderline: float | BorderlineRating
) -> BorderlineRegression:
    """Least-squares line of marks on ratings; the pass mark is its value at `borderline`.

    cut = a + b * g0, standard error s * sqrt(1/n + (g0 - mean g)^2 / Sgg), t with n - 2 degrees of
    freedom. Ratings are taken at the numbers given for them, equally spaced unless told otherwise.
    A slope not above zero gives no pass mark.
    """
    known = ~(np.isnan(mark) | np.isnan(rating))
    y, g = mark[known], rating[known]
    at_rating = _rating(borderline)
    counts = int(_is_borderline(g, at_rating).sum()), int((g < at_rating.high).sum())
    n, sgg = y.size, float(((g - g.mean()) ** 2).sum()) if y.size else 0.0
    if n < 3 or sgg <= 0:
        why = "fewer than three rated performances" if n < 3 else "everyone has the same rating"
        return _no_line(n, counts, f"No borderline regression: {why}.")
    slope = float(((g - g.mean()) * (y - y.mean())).sum()) / sgg
    intercept = float(y.mean() - slope * g.mean())
    spread = float(((y - y.mean()) ** 2).sum())
    residual = float(((y - intercept - slope * g) ** 2).sum())
    sd = float(np.sqrt(residual / (n - 2)))
    at = intercept + slope * at_rating.position
    cut_se = sd * float(np.sqrt(1 / n + (at_rating.position - g.mean()) ** 2 / sgg))
    flat = slope <= 0
    return BorderlineRegression(
        cut=no_estimate("the slope is not above zero") if flat else _t(at, cut_se, n - 2),
        slope=_t(slope, sd / float(np.sqrt(sgg)), n - 2),
        intercept=intercept,
        r_squared=1 - residual / spread if spread > 0 else float("nan"),
        residual_sd=sd,
        n=n,
        borderline=counts[0],
        at_or_below=counts[1],
        warnings=_line_warnings(flat, counts),
    )


def line_at(mark: Array, rating: Array, position: float) -> float:
    """The least-squares line of marks on ratings at `position`; NaN where there is no line."""
    known = ~(np.isnan(mark) | np.isnan(rating))
    y, g = mark[known], rating[known]
    spread = float(((g - g.mean()) ** 2).sum()) if y.size else 0.0
    if y.size < 3 or spread <= 0:
        return float("nan")
    slope = float(((g - g.mean()) * (y - y.mean())).sum()) / spread
    return float(y.mean() + slope * (position - g.mean()))


def _is_borderline(rating: Array, at: BorderlineRating) -> BoolArray:
    return np.asarray((rating > at.low) & (rating < at.high))


def _no_line(n: int, counts: tuple[int, int], why: str) -> BorderlineRegression:
    nan, none = float("nan"), no_estimate(why)
    return BorderlineRegression(none, none, nan, nan, nan, n, *counts, warnings=(why,))


def _t(value: float, se: float, df: int) -> Estimate:
    half = float(t_quantile(0.975, df)) * se
    return Estimate(value, value - half, value + half, se, f"t, {df} degrees of freedom")


def _line_warnings(flat: bool, counts: tuple[int, int]) -> tuple[str, ...]:
    notes = []
    if flat:
        notes.append("Marks do not rise with the rating (slope not above zero): no pass mark.")
    if counts[1] == 0:
        notes.append("Nobody was rated borderline or lower: the pass mark is an extrapolation.")
    elif counts[0] == 0:
        notes.append("Nobody was rated borderline: the pass mark is read off the line only.")
    return tuple(notes)


@dataclass(frozen=True, slots=True)
class BorderlineGroup:
    """Mean (t interval) and median mark of those rated borderline, and how many they are."""

    cut: Estimate
    median: float
    n: int
    warnings: tuple[str, ...] = ()


def borderline_group(
    mark: Array, rating: Array, borderline: float | BorderlineRating
) -> BorderlineGroup:
    """The mean mark of the students rated borderline; the median is given beside it."""
    group = mark[_is_borderline(rating, _rating(borderline)) & ~np.isnan(mark)]
    if group.size == 0:
        why = "Nobody was rated borderline: the borderline-group method has no answer."
        return BorderlineGroup(no_estimate(why), float("nan"), 0, (why,))
    median = float(np.median(group))
    if group.size == 1:
        why = "One student only was rated borderline."
        return BorderlineGroup(Estimate(float(group[0]), note=why), median, 1, (why,))
    se = float(group.std(ddof=1)) / float(np.sqrt(group.size))
    notes = (f"Only {group.size} students were rated borderline.",) if group.size < 10 else ()
    return BorderlineGroup(
        _t(float(group.mean()), se, group.size - 1), median, group.size, tuple(notes)
    )


@dataclass(frozen=True, slots=True)
class ContrastingGroups:
    """Where the mark curves of those judged failing and passing cross.

    `cut` weighs the two normal curves equally, `cut_by_size` by how many students each holds.
    `false_pass` and `false_fail` are the shares of the failing group above and of the passing
    group below `cut`, by the curves; `_seen` the same counted.
    """

    cut: float
    cut_by_size: float
    false_pass: float
    false_fail: float
    false_pass_seen: float
    false_fail_seen: float
    failing: int
    passing: int
    warnings: tuple[str, ...] = ()


def contrasting_groups(
    mark: Array, rating: Array, borderline: float | BorderlineRating
) -> ContrastingGroups:
    """Failing (rated below borderline) against passing (above it), as two normal curves.

    The cut is the mark between the two means at which both densities are equal. Needs two students
    and some spread in each group, and the failing group's mean below the passing group's.
    """
    at = _rating(borderline)
    fail = mark[(rating <= at.low) & ~np.isnan(mark)]
    ok = mark[(rating >= at.high) & ~np.isnan(mark)]
    if min(fail.size, ok.size) < 2:
        return _no_groups(fail.size, ok.size, "a group has fewer than two students")
    means, sds = (fail.mean(), ok.mean()), (fail.std(ddof=1), ok.std(ddof=1))
    if means[0] >= means[1] or min(sds) <= 0:
        return _no_groups(fail.size, ok.size, "the two groups do not stand apart in marks")
    cut = curve_crossing(float(means[0]), float(sds[0]), float(means[1]), float(sds[1]))
    rates = theoretical_errors(cut, float(means[0]), float(sds[0]), float(means[1]), float(sds[1]))
    by_size = curve_crossing(
        float(means[0]), float(sds[0]), float(means[1]), float(sds[1]), ok.size / fail.size
    )
    notes = () if min(fail.size, ok.size) >= 10 else ("A group has fewer than ten students.",)
    return ContrastingGroups(
        cut,
        by_size,
        rates.false_pass,
        rates.false_fail,
        float((fail >= cut).mean()),
        float((ok < cut).mean()),
        fail.size,
        ok.size,
        notes,
    )


def _no_groups(failing: int, passing: int, why: str) -> ContrastingGroups:
    nan = float("nan")
    text = f"No contrasting-groups pass mark: {why}."
    return ContrastingGroups(nan, nan, nan, nan, nan, nan, failing, passing, (text,))


@dataclass(frozen=True, slots=True)
class ErrorRates:
    """Shares on the wrong side of a cut: failing students above it, passing students below."""

    false_pass: float
    false_fail: float


def theoretical_errors(
    cut: float, mean_fail: float, sd_fail: float, mean_pass: float, sd_pass: float
) -> ErrorRates:
    """Shares of two normal curves on the wrong side of `cut`."""
    above = float(normal_below((mean_fail - cut) / sd_fail))
    return ErrorRates(above, float(normal_below((cut - mean_pass) / sd_pass)))


def curve_crossing(
    mean_fail: float, sd_fail: float, mean_pass: float, sd_pass: float, size_ratio: float = 1.0
) -> float:
    """Mark between the means where density of failing = size_ratio * density of passing.

    A root of a quadratic (of a line when the spreads are equal); NaN when the curves do not cross
    between the two means. `size_ratio` is passing over failing students.
    """
    a = 1 / (2 * sd_pass**2) - 1 / (2 * sd_fail**2)
    b = mean_fail / sd_fail**2 - mean_pass / sd_pass**2
    c = mean_pass**2 / (2 * sd_pass**2) - mean_fail**2 / (2 * sd_fail**2)
    c += float(np.log(sd_pass / sd_fail / size_ratio))
    roots = np.roots([a, b, c]) if abs(a) > 1e-12 else np.array([-c / b])
    real = roots[np.abs(np.imag(roots)) < 1e-9].real
    inside = real[(real >= mean_fail) & (real <= mean_pass)]
    return float(inside[0]) if inside.size else float("nan")
