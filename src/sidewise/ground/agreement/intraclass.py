"""Intraclass correlation, standard error of measurement and minimal detectable change.

Shrout PE, Fleiss JL, Psychol Bull 1979;86:420-428; McGraw KO, Wong SP, Psychol Methods 1996;1:30-46
(intervals, from memory); Weir JP, J Strength Cond Res 2005;19:231-240 (error and change).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.agreement.reading_error import minimal_detectable_change
from sidewise.ground.agreement.two_way import TwoWay, two_way_reml
from sidewise.ground.arrays import Array
from sidewise.ground.distributions import f_quantile
from sidewise.ground.interval import Z95

Form = Literal["1,1", "2,1", "3,1", "1,k", "2,k", "3,k"]

MEANING = {
    "1,1": "each subject has raters of their own, one reading, absolute agreement",
    "2,1": "raters are a sample, one reading, absolute agreement",
    "3,1": "these raters only, one reading, consistency",
    "1,k": "each subject has raters of their own, mean of all readings, absolute agreement",
    "2,k": "raters are a sample, mean of all readings, absolute agreement",
    "3,k": "these raters only, mean of all readings, consistency",
}


@dataclass(frozen=True, slots=True)
class Intraclass:
    """One form of the coefficient: value, 95% limits, and its F with degrees of freedom."""

    form: Form
    value: float
    low: float
    high: float
    f: float
    df1: float
    df2: float

    @property
    def meaning(self) -> str:
        """The form in words."""
        return MEANING[self.form]


@dataclass(frozen=True, slots=True)
class ReadingReliability:
    """Reliability and error of numeric readings of subjects by raters.

    `forms` by name; with missing cells only "2,1" and "3,1", by REML (`method` says). `sem`
    (consistency) and `sem_agreement` (raters' levels included) in the units of the readings;
    `mdc95` is the detectable change from sem_agreement. Components are variances.
    """

    forms: dict[str, Intraclass]
    subjects: int
    raters: int
    missing: int
    between_subjects: float
    between_raters: float
    residual: float
    sem: float
    sem_agreement: float
    mdc95: float
    method: str
    warnings: tuple[str, ...] = ()


def reading_reliability(readings: Array) -> ReadingReliability:
    """All forms from a (subjects, raters) table; NaN where a rater did not read a subject.

    Complete tables by mean squares with F limits. With missing cells the variances are estimated
    by REML from every reading (no subject is deleted).
    """
    table = readings[~np.isnan(readings).all(axis=1)]
    table = table[:, ~np.isnan(table).all(axis=0)]
    n, k = table.shape
    if n < 2 or k < 2:
        raise UserError("readings", f"{n} subjects by {k} raters", "two of each at least", "")
    return _by_reml(table) if np.isnan(table).any() else _by_squares(table)


@dataclass(frozen=True, slots=True)
class _Squares:
    """Mean squares of a complete table: rows, within rows, columns, residual."""

    rows: float
    within: float
    columns: float
    error: float
    n: int
    k: int


def _squares(x: Array) -> _Squares:
    n, k = x.shape
    grand = x.mean()
    rows = k * float(((x.mean(axis=1) - grand) ** 2).sum())
    columns = n * float(((x.mean(axis=0) - grand) ** 2).sum())
    total = float(((x - grand) ** 2).sum())
    error = max(0.0, total - rows - columns)
    return _Squares(
        rows / (n - 1), (total - rows) / (n * (k - 1)), columns / (k - 1),
        error / ((n - 1) * (k - 1)), n, k,
    )  # fmt: skip


def _by_squares(x: Array) -> ReadingReliability:
    m = _squares(x)
    raters = max(0.0, (m.columns - m.error) / m.n)
    subjects = max(0.0, (m.rows - m.error) / m.k)
    warnings = ["All readings are equal."] if m.rows == 0 and m.within == 0 else []
    forms = {} if warnings else _forms(m)
    agreement = float(np.sqrt(raters + m.error))
    return ReadingReliability(
        forms, m.n, m.k, 0, subjects, raters, m.error, float(np.sqrt(m.error)), agreement,
        minimal_detectable_change(agreement), "mean squares", (*warnings, *_few(m.n)),
    )  # fmt: skip


def _few(n: int) -> tuple[str, ...]:
    return (f"{n} subjects only: the interval is wide.",) if n < 30 else ()


def _forms(m: _Squares) -> dict[str, Intraclass]:
    single = [_one_way(m), _absolute(m), _consistency(m)]
    return {str(i.form): i for i in [*single, *map(_averaged(m.k), single)]}


def _ratio_limits(form: Form, f: float, df: tuple[float, float], k: int) -> Intraclass:
    """(F - 1)/(F + k - 1) with limits from F divided and multiplied by quantiles."""
    low = f / f_quantile(0.975, *df)
    high = f * f_quantile(0.975, df[1], df[0])
    value, bottom, top = ((g - 1) / (g + k - 1) if np.isfinite(g) else 1.0 for g in (f, low, high))
    return Intraclass(form, value, bottom, top, f, *df)


def _divided(a: float, b: float) -> float:
    return a / b if b > 0 else float("inf")


def _one_way(m: _Squares) -> Intraclass:
    df = (m.n - 1, m.n * (m.k - 1))
    return _ratio_limits("1,1", _divided(m.rows, m.within), df, m.k)


def _consistency(m: _Squares) -> Intraclass:
    df = (m.n - 1, (m.n - 1) * (m.k - 1))
    return _ratio_limits("3,1", _divided(m.rows, m.error), df, m.k)


def _absolute(m: _Squares) -> Intraclass:
    """ICC(2,1) with Satterthwaite's degrees of freedom for the denominator."""
    n, k = m.n, m.k
    value = (m.rows - m.error) / (m.rows + (k - 1) * m.error + k * (m.columns - m.error) / n)
    f, df = _divided(m.rows, m.error), (n - 1, (n - 1) * (k - 1))
    if value >= 1 or m.error == 0:
        return Intraclass("2,1", value, float("nan"), float("nan"), f, *df)
    a = k * value / (n * (1 - value))
    b = 1 + k * value * (n - 1) / (n * (1 - value))
    v = (a * m.columns + b * m.error) ** 2 / (
        (a * m.columns) ** 2 / (k - 1) + (b * m.error) ** 2 / ((n - 1) * (k - 1))
    )
    f3 = f_quantile(0.975, n - 1, v)
    f4 = f_quantile(0.975, v, n - 1)
    rest = k * m.columns + (k * n - k - n) * m.error
    low = n * (m.rows - f3 * m.error) / (f3 * rest + n * m.rows)
    high = n * (f4 * m.rows - m.error) / (rest + n * f4 * m.rows)
    return Intraclass("2,1", value, low, high, f, *df)


def _averaged(k: int) -> Callable[[Intraclass], Intraclass]:
    """Spearman and Brown: from one reading to the mean of k."""
    names: dict[str, Form] = {"1,1": "1,k", "2,1": "2,k", "3,1": "3,k"}

    def stepped(i: Intraclass) -> Intraclass:
        value, low, high = (k * r / (1 + (k - 1) * r) for r in (i.value, i.low, i.high))
        return Intraclass(names[i.form], value, low, high, i.f, i.df1, i.df2)

    return stepped


def _by_reml(x: Array) -> ReadingReliability:
    fit = two_way_reml(x)
    agreement = float(np.sqrt(fit.between_raters + fit.residual))
    forms = {"2,1": _from_components("2,1", fit), "3,1": _from_components("3,1", fit)}
    return ReadingReliability(
        forms, x.shape[0], x.shape[1], int(np.isnan(x).sum()), fit.between_subjects,
        fit.between_raters, fit.residual, float(np.sqrt(fit.residual)), agreement,
        minimal_detectable_change(agreement), "REML, cells missing",
        (*fit.warnings, *_few(x.shape[0])),
    )  # fmt: skip


def _from_components(form: Form, fit: TwoWay) -> Intraclass:
    """Coefficient from variances; limits by the delta method on its logit."""
    others = fit.residual + (fit.between_raters if form == "2,1" else 0.0)
    value = fit.between_subjects / (fit.between_subjects + others)
    nan = float("nan")
    if not 0 < value < 1 or fit.log_covariance is None:
        return Intraclass(form, value, nan, nan, nan, nan, nan)
    # logit = log subjects - log(others); others' share of each component weighs its logarithm.
    slope = np.array([1.0, 0.0, -fit.residual / others])
    if form == "2,1":
        slope[1] = -fit.between_raters / others
    half = Z95 * float(np.sqrt(slope @ fit.log_covariance @ slope))
    logit = np.log(value / (1 - value))
    low, high = (float(1 / (1 + np.exp(-(logit + s * half)))) for s in (-1, 1))
    return Intraclass(form, value, low, high, nan, nan, nan)
