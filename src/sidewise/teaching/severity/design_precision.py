"""What a design will be able to say of severity, before anybody has marked anything.

The covariance of estimated severities hangs on who marks whom where, and on two variances. With
these assumed it can be known before the day, by the same algebra that estimates it afterwards
(`mark_severity`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array
from sidewise.teaching.reliability import reml
from sidewise.teaching.severity.linked_sets import LinkedSets, sets_from_codes
from sidewise.teaching.severity.mark_severity import severity_covariance

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class DesignPrecision:
    """Expected standard errors of severity in points, by examiner, each about the mean of their
    own linked set; NaN for one whom nothing links to another. linked: the sets."""

    linked: LinkedSets
    errors: dict[str, float]

    @property
    def mean(self) -> float:
        """The mean of the errors that can be told; NaN where none can."""
        known = [error for error in self.errors.values() if error == error]
        return sum(known) / len(known) if known else float("nan")

    @property
    def worst(self) -> float:
        """The largest error that can be told; NaN where none can."""
        return max((e for e in self.errors.values() if e == e), default=float("nan"))


def design_precision(
    design: pd.DataFrame, student_sd: float, residual_sd: float
) -> DesignPrecision:
    """Expected standard errors of a design. Columns: student, station, examiner, a row a mark.

    student_sd: between students, residual_sd: of one mark about what student, station and examiner
    explain, both in points. Where two examiners mark one performance their marks are taken to share
    nothing but the student; if they do share more, the errors will be larger.
    """
    import pandas as pd

    for name, value in (("student_sd", student_sd), ("residual_sd", residual_sd)):
        if not (np.isfinite(value) and value > 0):
            raise UserError(name, value, "a number of points above 0")
    student = pd.factorize(design["student"], sort=True)[0].astype(np.int64)
    station = pd.factorize(design["station"], sort=True)[0].astype(np.int64)
    examiner, names = pd.factorize(design["examiner"], sort=True)
    examiner = examiner.astype(np.int64)
    linked = sets_from_codes(student, station, examiner, [str(name) for name in names])
    stations = int(station.max()) + 1
    widths = (stations, len(names))
    # Any response does: the part of the equations that is read here does not hold it.
    response: Array = np.arange(len(student), dtype=float) % 2
    sums = reml.sums_of_design(response, [student], [station, examiner], widths)
    ratio = np.array([(student_sd / residual_sd) ** 2, 0.0, 0.0])
    matrix = reml.chain_eliminated(sums, ratio)[: sum(widths), : sum(widths)]
    covariance = severity_covariance(matrix, linked, stations) * residual_sd**2
    return DesignPrecision(linked, _errors(covariance, linked))


def _errors(covariance: Array, linked: LinkedSets) -> dict[str, float]:
    alone = {members[0] for members in linked.sets if len(members) == 1}
    errors = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    return {
        name: float("nan") if name in alone else float(error)
        for name, error in zip(linked.examiners, errors, strict=True)
    }
