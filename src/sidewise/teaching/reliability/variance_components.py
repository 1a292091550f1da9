"""Where the variance of marks comes from: students, stations, examiners, sessions, the rest.

`fit_variance` fits one model by restricted maximum likelihood: a mean, a random effect for every
facet asked for, the meeting of student and station, and a residual. Unbalanced and incomplete
tables need no special care. What the design cannot separate is left out and said.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.teaching.reliability import reml
from sidewise.teaching.reliability.variance_design import (
    CELL,
    FACETS,
    VarianceDesign,
    component_words,
    level_count,
    variance_design,
)
from sidewise.teaching.reliability.variance_limits import (
    ComponentLimits,
    IntervalKind,
    component_limits,
    log_information,
)

if TYPE_CHECKING:
    import pandas as pd

RESIDUAL = "residual"


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
    intervals: dict[str, ComponentLimits]
    covariance: Array = field(repr=False)
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

    Raises UserError for marks that are not finite, no variation, one student, or more than 3,000
    levels crossed with the facet that has most.

    Patterson & Thompson, Biometrika 1971; 58:545-554. Profile limits of variance components as in
    Pinheiro & Bates, Mixed-Effects Models in S and S-PLUS, 2000 (from memory).
    """
    design = variance_design(scores, facets, cell, response)
    widths = tuple(int(codes.max()) + 1 for codes in design.crossed.values())
    sums = reml.sums_of_design(
        design.response, list(design.chain.values()), list(design.crossed.values()), widths
    )
    best = reml.fit_reml(sums)
    return _result(design, sums, best, intervals)


def _result(
    design: VarianceDesign, sums: reml.Sums, best: reml.RemlFit, kind: IntervalKind
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
    found = log_information(sums, phi)
    covariance = found.covariance * np.outer(phi, phi) * scale**2
    boundary = tuple(name for name, value in zip(names, phi, strict=True) if value == 0.0)
    students = level_count(design.codes["student"])
    limits = component_limits(sums, best, phi, found, kind, students)
    _warn_boundary(design, boundary, limits, scale)
    order = _reading_order(names)
    return VarianceComponents(
        components={names[k]: float(phi[k] * scale) for k in order},
        standard_errors={names[k]: float(np.sqrt(covariance[k, k])) for k in order},
        intervals={
            names[k]: replace(limits[k], low=limits[k].low * scale, high=limits[k].high * scale)
            for k in order
            if k in limits
        },
        covariance=covariance[np.ix_(order, order)],
        criterion=best.value.criterion,
        mean=float(design.response.mean() + best.value.mean * np.sqrt(scale)),
        mean_standard_error=float(np.sqrt(best.value.mean_variance * scale)),
        boundary=boundary, dropped=dict(design.dropped),
        levels={name: level_count(codes) for name, codes in design.codes.items()},
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
    design: VarianceDesign,
    boundary: tuple[str, ...],
    limits: dict[int, ComponentLimits],
    scale: float,
) -> None:
    names = [*design.names, RESIDUAL]
    for name in boundary:
        limit = limits.get(names.index(name))
        upper = f"; up to {limit.high * scale:.4g} fits the data as well" if limit else ""
        design.warnings.append(f"{component_words(name)}: estimated as 0, on the boundary{upper}.")
