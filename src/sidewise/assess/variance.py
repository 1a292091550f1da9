"""Where the variance of marks comes from: students, stations, examiners, sessions, the rest.

`fit_variance` fits one model by restricted maximum likelihood: a mean, a random effect for every
facet asked for, the meeting of student and station, and a residual. Unbalanced and incomplete
tables need no special care. What the design cannot separate is left out and said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from sidewise.assess import reml
from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
IntervalKind = Literal["auto", "wald", "profile", "none"]

FACETS = ("student", "station", "examiner", "session")
CELL = "student_station"
RESIDUAL = "residual"
# 95% point of chi-squared with one degree of freedom: how far the criterion may rise.
RISE = 3.841458820694124
# More crossed columns than this would make each step slow: our judgement.
WIDEST = 3000
# Profiles cost some two hundred fits; above this many students Wald intervals are used instead.
PROFILE_STUDENTS = 500
# Standard error of a logarithm above which the Wald limit is of no use: a factor of fifty.
WIDEST_WALD = 2.0
# Fewer levels than this tell little of a variance: our judgement.
FEW_LEVELS = 5
# Pell, Homer, Fuller, Patterson, Med Teach 2016: below 50 candidates indices are unstable.
FEW_STUDENTS = 50


@dataclass(frozen=True, slots=True)
class Limits:
    """95% limits of one component, in squared units of the response, and how they were had."""

    low: float
    high: float
    method: str


@dataclass(frozen=True)
class VarianceComponents:
    """Variance components with everything needed to use them with care.

    `components` and `standard_errors` are by facet name in squared and squared units of the
    response; `student_station` is the meeting of student and station, `residual` what is left.
    `boundary` names components estimated as exactly 0; their `intervals` run from 0 to the upper
    profile limit. `dropped` says what could not be separated and why. `covariance` is that of the
    components in the order of `names`, zero in rows of the boundary.
    """

    components: dict[str, float]
    standard_errors: dict[str, float]
    intervals: dict[str, Limits]
    covariance: Floats = field(repr=False)
    criterion: float
    mean: float
    mean_standard_error: float
    boundary: tuple[str, ...]
    dropped: dict[str, str]
    levels: dict[str, int]
    n: int
    converged: bool
    evaluations: int
    warnings: tuple[str, ...]
    estimator: str = "REML"

    @property
    def names(self) -> tuple[str, ...]:
        """Facets in the order of `covariance`."""
        return tuple(self.components)

    @property
    def total(self) -> float:
        """Sum of all components: the variance of one mark of one random student."""
        return sum(self.components.values())

    @property
    def shares(self) -> dict[str, float]:
        """Each component as a share (0 to 1) of the total."""
        return {name: value / self.total for name, value in self.components.items()}


@dataclass
class _Design:
    """Codes of the facets kept, in chain order and crossed, and what was said on the way."""

    response: Floats
    chain: dict[str, Ints]
    crossed: dict[str, Ints]
    dropped: dict[str, str]
    warnings: list[str]

    @property
    def names(self) -> list[str]:
        return [*self.chain, *self.crossed]


def fit_variance(
    scores: pd.DataFrame,
    *,
    facets: tuple[str, ...] = FACETS,
    cell: bool = True,
    response: str = "score",
    intervals: IntervalKind = "auto",
) -> VarianceComponents:
    """Variance components of `response` by restricted maximum likelihood (REML).

    y = mean + student + station + examiner + session + student:station + residual, all effects
    normal with mean 0. `scores` has one row per mark and a column per facet; write
    "examiner:station" for examiners who are labelled afresh at every station. Facets of `FACETS`
    that have no column are left out with a warning; any other name must be a column.

    Limits are 95%: `profile` (where the restricted criterion rises by 3.84), `wald` (normal on
    the logarithm), `auto` (profile up to 500 students), or `none`. The limit of a component
    estimated as 0 is always the profile's, unless `none`.

    Raises UserError for marks that are not finite, no variation, one student, or a facet with
    more than 3,000 crossed levels.

    Patterson & Thompson, Biometrika 1971; 58:545-554. Profile limits of variance components as in
    Pinheiro & Bates, Mixed-Effects Models in S and S-PLUS, 2000 (from memory).
    """
    design = _read(scores, facets, cell, response)
    widths = tuple(int(codes.max()) + 1 for codes in design.crossed.values())
    sums = reml.gather(
        design.response, list(design.chain.values()), list(design.crossed.values()), widths
    )
    best = reml.minimise(sums)
    return _result(design, sums, best, intervals)


def _read(scores: pd.DataFrame, facets: tuple[str, ...], cell: bool, response: str) -> _Design:
    warnings: list[str] = []
    facets = _present(scores, facets, response, warnings)
    scores = _usable(scores, facets, response, warnings)
    values = scores[response].to_numpy(dtype=float)
    if np.ptp(values) <= 1e-12 * max(1.0, float(np.abs(values).max())):
        raise UserError(response, float(values[0]), "marks that differ",
                        "Every mark is the same: there is no variance to share out.")  # fmt: skip
    codes = {name.split(":")[0]: _codes(scores, name) for name in facets}
    students = int(codes["student"].max()) + 1
    if students < 2:
        raise UserError("student", f"{students} student", "at least two students",
                        "Reliability is about differences between students.")  # fmt: skip
    if cell and "station" in codes:
        codes[CELL] = _pair(codes["student"], codes["station"])
    design = _arrange(values, codes, warnings)
    _check_shape(design, warnings)
    return design


def _present(
    scores: pd.DataFrame, facets: tuple[str, ...], response: str, warnings: list[str]
) -> tuple[str, ...]:
    if "student" not in facets:
        raise UserError("facets", facets, '"student" among the facets')
    kept = []
    for name in facets:
        missing = [part for part in name.split(":") if part not in scores.columns]
        if not missing:
            kept.append(name)
        elif name in FACETS and name != "student":
            warnings.append(f"There is no column {name}: it was left out of the model.")
        else:
            raise UserError("columns", ", ".join(map(str, scores.columns)),
                            f"a column {missing[0]}")  # fmt: skip
    if response not in scores.columns:
        raise UserError("columns", ", ".join(map(str, scores.columns)), f"a column {response}")
    return tuple(kept)


def _usable(
    scores: pd.DataFrame, facets: tuple[str, ...], response: str, warnings: list[str]
) -> pd.DataFrame:
    """Rows that hold a mark; anything infinite or a mark of nobody is refused."""
    marked = scores[scores[response].notna()]
    if len(marked) < len(scores):
        warnings.append(f"{len(scores) - len(marked)} rows without a mark were left out.")
    if marked.empty:
        raise UserError(response, "no marks", "at least a few marks")
    values = marked[response].to_numpy(dtype=float)
    if not np.isfinite(values).all():
        row = int(np.flatnonzero(~np.isfinite(values))[0])
        raise UserError(f"{response}, row {marked.index[row]}", float(values[row]), "finite marks")
    for part in {part for name in facets for part in name.split(":")}:
        if marked[part].isna().any():
            row = marked.index[marked[part].isna()][0]
            raise UserError(f"{part}, row {row}", None, "a name on every row with a mark",
                            "Fill it in, or leave the facet out.")  # fmt: skip
    return marked


def _codes(scores: pd.DataFrame, name: str) -> Ints:
    """Level numbers of a facet; "examiner:station" numbers examiners within stations."""
    import pandas as pd

    parts = [pd.factorize(scores[part])[0].astype(np.int64) for part in name.split(":")]
    codes = parts[0]
    for other in parts[1:]:
        codes = _pair(codes, other)
    return codes


def _pair(first: Ints, second: Ints) -> Ints:
    """Number the pairs that occur."""
    import pandas as pd

    key = first * (int(second.max()) + 1) + second
    return pd.factorize(key)[0].astype(np.int64)


def _levels(codes: Ints) -> int:
    return int(codes.max()) + 1


def _nested(fine: Ints, coarse: Ints) -> bool:
    """Whether every group of `fine` lies in one group of `coarse`."""
    first = np.empty(_levels(fine), dtype=np.int64)
    first[fine] = coarse
    return bool(np.array_equal(first[fine], coarse))


def _same(one: Ints, other: Ints) -> bool:
    return _levels(one) == _levels(other) and _nested(one, other)


def _arrange(values: Floats, codes: dict[str, Ints], warnings: list[str]) -> _Design:
    """Drop what cannot be separated, then sort facets into the chain and the crossed."""
    dropped: dict[str, str] = {}
    kept: dict[str, Ints] = {}
    # Students first, so that a facet that mirrors another gives way to the more useful one.
    order = ["student", "station", "examiner", CELL]
    for name in sorted(codes, key=lambda n: order.index(n) if n in order else len(order)):
        reason = _why_not(codes[name], kept, len(values))
        if reason is None:
            kept[name] = codes[name]
        else:
            dropped[name] = reason
            warnings.append(f"{spoken(name)} {reason}")
    if "student" not in kept:
        raise UserError("student", dropped["student"], "several marks for each student")
    chain = {name: kept.pop(name) for name in (CELL, "student") if name in kept}
    for name in [n for n in kept if n not in ("station", "examiner")]:
        if _nested(list(chain.values())[-1], kept[name]):
            chain[name] = kept.pop(name)
    return _Design(values, chain, kept, dropped, warnings)


def _why_not(codes: Ints, kept: dict[str, Ints], rows: int) -> str | None:
    if _levels(codes) == 1:
        return "has one level only: its variance cannot be seen and was left out."
    if _levels(codes) == rows:
        return "has one mark per level: it cannot be told from the residual, which holds both."
    for name, other in kept.items():
        if _same(codes, other):
            return f"cannot be told from {spoken(name)}: the figure of the latter holds both."
    return None


def spoken(name: str) -> str:
    """A facet's name in words."""
    return {CELL: "student by station"}.get(name, name)


def _check_shape(design: _Design, warnings: list[str]) -> None:
    widest = sum(_levels(codes) for codes in design.crossed.values())
    if widest > WIDEST:
        raise UserError("facets", f"{widest} crossed levels", f"at most {WIDEST}",
                        "Analyse one sitting or one site at a time.")  # fmt: skip
    for name, codes in {**design.chain, **design.crossed}.items():
        if _levels(codes) < FEW_LEVELS:
            warnings.append(
                f"{spoken(name)} has {_levels(codes)} levels: its variance is little more "
                "than a guess."
            )
    students = _levels(design.chain["student"])
    if students < FEW_STUDENTS:
        warnings.append(f"{students} students: below {FEW_STUDENTS} such figures are unstable.")


def _result(
    design: _Design, sums: reml.Sums, best: reml.Optimum, kind: IntervalKind
) -> VarianceComponents:
    scale = float(np.exp(2 * sums.log_scale))
    names = [*design.names, RESIDUAL]
    phi = np.append(best.ratios, 1.0) * best.value.residual
    if not best.converged:
        design.warnings.append("The search for the best fit did not settle: use with care.")
    if float(best.ratios.max()) >= 0.99 * reml.LARGEST_ROOT**2:
        design.warnings.append(
            "The effects explain the marks without a residual: the components are no guide."
        )
        kind = "none"
    log_covariance = _log_covariance(sums, phi)
    covariance = log_covariance * np.outer(phi, phi) * scale**2
    boundary = tuple(name for name, value in zip(names, phi, strict=True) if value == 0.0)
    limits = _limits(design, sums, best, phi, np.sqrt(np.diag(log_covariance)), kind)
    _warn_boundary(design, boundary, limits, scale)
    order = _reading_order(names)
    levels = {**design.chain, **design.crossed}
    return VarianceComponents(
        components={names[k]: float(phi[k] * scale) for k in order},
        standard_errors={names[k]: float(np.sqrt(covariance[k, k])) for k in order},
        intervals={
            names[k]: Limits(limits[k].low * scale, limits[k].high * scale, limits[k].method)
            for k in order
            if k in limits
        },
        covariance=covariance[np.ix_(order, order)],
        criterion=best.value.criterion,
        mean=float(design.response.mean() + best.value.mean * np.sqrt(scale)),
        mean_standard_error=float(np.sqrt(best.value.mean_variance * scale)),
        boundary=boundary, dropped=dict(design.dropped),
        levels={name: _levels(codes) for name, codes in levels.items()},
        n=len(design.response), converged=best.converged, evaluations=best.evaluations,
        warnings=tuple(design.warnings),
    )  # fmt: skip


def _reading_order(names: list[str]) -> list[int]:
    wanted = [*FACETS, CELL]
    rank = {name: k for k, name in enumerate(wanted)}
    middle = len(wanted)
    return sorted(
        range(len(names)),
        key=lambda k: middle + 1 if names[k] == RESIDUAL else rank.get(names[k], middle),
    )


def _warn_boundary(
    design: _Design, boundary: tuple[str, ...], limits: dict[int, Limits], scale: float
) -> None:
    names = [*design.names, RESIDUAL]
    for name in boundary:
        limit = limits.get(names.index(name))
        upper = f"; up to {limit.high * scale:.4g} fits the data as well" if limit else ""
        design.warnings.append(f"{spoken(name)}: estimated as 0, on the boundary{upper}.")


def _by_logs(sums: reml.Sums, phi: Floats) -> tuple[float, Floats]:
    """The criterion and its gradient by the logarithms of the variances `phi` (residual last)."""
    residual = float(phi[-1])
    ratios = phi[:-1] / residual
    value = reml.evaluate(sums, ratios, residual)
    by_ratio = value.gradient * ratios
    last = value.by_residual * residual - float(by_ratio.sum())
    return value.criterion, np.append(by_ratio, last)


def _log_covariance(sums: reml.Sums, phi: Floats) -> Floats:
    """Inverse observed information of log variances; rows of the boundary are zero.

    The information is half the second derivative of the criterion, by central differences of the
    analytic gradient.
    """
    inside = np.flatnonzero(phi > 0)
    step = 1e-3
    columns = []
    for k in inside:
        up, down = phi.copy(), phi.copy()
        up[k] *= np.exp(step)
        down[k] *= np.exp(-step)
        rise = _by_logs(sums, up)[1] - _by_logs(sums, down)[1]
        columns.append(rise[inside] / (2 * step))
    hessian = np.array(columns)
    hessian = (hessian + hessian.T) / 2
    covariance = np.zeros((len(phi), len(phi)))
    try:
        covariance[np.ix_(inside, inside)] = 2 * np.linalg.inv(hessian)
    except np.linalg.LinAlgError:
        covariance[np.ix_(inside, inside)] = np.nan
    bad = np.diag(covariance) < 0
    covariance[bad, :] = np.nan
    covariance[:, bad] = np.nan
    return covariance


def _limits(
    design: _Design, sums: reml.Sums, best: reml.Optimum, phi: Floats, log_se: Floats,
    kind: IntervalKind,
) -> dict[int, Limits]:  # fmt: skip
    if kind == "none":
        return {}
    small = _levels(design.chain["student"]) <= PROFILE_STUDENTS
    profiled = kind == "profile" or (kind == "auto" and small)
    limits = {}
    for k, value in enumerate(phi):
        if profiled or value == 0.0 or not log_se[k] < WIDEST_WALD:
            limits[k] = _profile_limits(sums, best.value.criterion, phi, k, log_se[k])
        else:
            reach = np.exp(1.959963984540054 * log_se[k])
            limits[k] = Limits(float(value / reach), float(value * reach), "Wald on the logarithm")
    return limits


def _profile_limits(
    sums: reml.Sums, least: float, phi: Floats, which: int, log_se: float
) -> Limits:
    """Where the criterion, least over all other variances, has risen by 3.84."""

    root = np.sqrt(phi)

    def rise(value: float) -> float:
        # Each search starts where the last one ended: neighbours on the profile lie close.
        nonlocal root
        found = _least_given(sums, phi, which, value, root)
        root = found.root
        # The square root is nearly straight in the logarithm of a variance: fewer steps.
        return float(np.sqrt(max(found.criterion - least, 0.0))) - float(np.sqrt(RISE))

    # The Wald limit is a good first guess; a flat criterion would send it out of all bounds.
    step = float(np.exp(np.clip(1.96 * log_se, 0.05, 1.4))) if np.isfinite(log_se) else 4.0
    if phi[which] == 0.0:
        return Limits(0.0, _above_zero(rise, 1e-4 * float(phi[-1])), "profile")
    start = float(phi[which])
    high = _crossing(rise, start, step)
    if which < len(phi) - 1 and rise(0.0) <= 0:
        return Limits(0.0, high, "profile")
    return Limits(_crossing(rise, start, 1 / step, 1e-6 * float(phi.sum())), high, "profile")


def _above_zero(rise: Callable[[float], float], start: float) -> float:
    """The upper limit of a variance estimated as zero, from a guess that may lie beyond it.

    Large tables know a variance of zero to far less than any share of the residual.
    """
    inner = start
    while rise(inner) > 0:
        inner /= 10
        if inner < 1e-12 * start:
            return 0.0
    return _crossing(rise, inner, 4.0)


def _crossing(
    rise: Callable[[float], float], start: float, factor: float, bottom: float = 0.0
) -> float:
    """The variance at which `rise` turns from below zero (at `start`) to above it."""
    from scipy.optimize import brentq

    inner, outer = start, start * factor
    while rise(outer) < 0:
        if outer < bottom:
            return 0.0
        if outer > 1e9 * start:
            return float("inf")
        inner, outer = outer, outer * factor
    found = brentq(lambda log: rise(float(np.exp(log))), np.log(inner), np.log(outer), xtol=1e-4)
    return float(np.exp(found))


@dataclass(frozen=True, slots=True)
class _Least:
    """Least criterion with one variance held, and the roots of all variances there."""

    criterion: float
    root: Floats


def _least_given(sums: reml.Sums, phi: Floats, which: int, value: float, near: Floats) -> _Least:
    """Least criterion with variance number `which` held at `value`, searched from `near`."""
    from scipy.optimize import minimize

    others = np.array([k for k in range(len(phi)) if k != which])
    # A residual far below the rest would drown the criterion in rounding.
    floor = 1e-6 * float(phi.sum())

    def whole(root: Floats) -> Floats:
        full = np.empty(len(phi))
        full[others] = root**2
        full[which] = value
        full[-1] = max(full[-1], floor)
        return full

    def objective(root: Floats, base: float = 0.0) -> tuple[float, Floats]:
        full = whole(root)
        residual = float(full[-1])
        got = reml.evaluate(sums, full[:-1] / residual, residual)
        slope = np.append(got.gradient / residual, 0.0)
        slope[-1] = got.by_residual - float(got.gradient @ full[:-1]) / residual**2
        return got.criterion - base, slope[others] * 2 * root

    least = float(np.sqrt(floor))
    # By the root the slope at zero is zero: a search must not start there.
    start = np.maximum(near[others], least)
    base = objective(start)[0]
    # A line search that ran away would meet a singular system: no variance can be this large.
    most = 30.0 * float(np.sqrt(phi.sum() + value))
    found = minimize(
        objective, start, args=(base,), jac=True, method="L-BFGS-B",
        bounds=[(least if k == len(phi) - 1 else 0.0, most) for k in others],
        options={"ftol": 1e-10, "gtol": 1e-5, "maxiter": 200},
    )  # fmt: skip
    return _Least(float(found.fun) + base, np.sqrt(whole(np.asarray(found.x, dtype=float))))
