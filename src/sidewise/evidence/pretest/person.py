"""Pre-test probabilities of one person, with their uncertainty, for both kinds of side.

A setting's base figures are moved on the odds scale by age, sex and what is known (answers
to questions that the region names, duration): odds of a level against none, times the factors,
levels made to sum to one with none. Uncertainty is logit-normal for figures and log-normal for
factors, the 95% limits being those of the table. Draws are scaled to keep the mean at the figure
itself, so that with nothing examined the reasoner gives back exactly the pre-test figure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from sidewise.errors import UserError
from sidewise.evidence.conditions import Conditions, conditions_of
from sidewise.evidence.pretest.selection import before_complaint
from sidewise.evidence.pretest.table import (
    PretestRow,
    PretestTable,
    pretest_table_of,
)
from sidewise.ground.arrays import Array
from sidewise.ground.interval import Z95
from sidewise.ground.settings import SETTINGS
from sidewise.knowledge.region import Region

WIDTH95 = 2 * Z95
LARGEST_SHARE = 0.97  # of one condition, all levels: some room for "none" in every draw
MONTH = 4.0
TWO_YEARS = 104.0


@dataclass(frozen=True)
class Case:
    """What moves the pre-test figures. None: not known or not asked, nothing is applied.

    `complaint_sides`: 0, 1 or 2 sides that complain. `sex`: female, male, or anything else.
    `known`: names of the factors that answers to questions apply.
    """

    setting: str
    age: float
    sex: str = ""
    complaint_sides: int = 1
    known: tuple[str, ...] = ()
    duration_weeks: float | None = None

    def __post_init__(self) -> None:
        if self.setting not in SETTINGS:
            raise UserError("setting", self.setting, f"one of {', '.join(SETTINGS)}")
        if not 0 <= self.age <= 120:
            raise UserError("age", self.age, "years from 0 to 120")
        if self.complaint_sides not in (0, 1, 2):
            raise UserError("complaint_sides", self.complaint_sides, "0, 1 or 2")

    @property
    def modifiers(self) -> tuple[str, ...]:
        """Names of the factors that apply, as in the table."""
        found = list(self.known)
        if self.duration_weeks is not None:
            if self.duration_weeks < MONTH:
                found.append("under 4 weeks")
            elif self.duration_weeks > TWO_YEARS:
                found.append("over 2 years")
        return tuple(found)


@dataclass(frozen=True)
class Pretest:
    """Pre-test figures over the columns C of `Conditions` (person-level columns: the same in all).

    complaint, free (C,): figures of a side that complains and of one that does not.
    complaint_draws, free_draws (D, C): the same with their uncertainty.
    before_draws (D, C): what to give a network that then learns of the complaint; equal to
    complaint_draws when no side complains.
    rows: ids of the table's rows that were used.
    """

    case: Case
    complaint: Array
    free: Array
    complaint_draws: Array = field(repr=False)
    free_draws: Array = field(repr=False)
    before_draws: Array = field(repr=False)
    rows: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@lru_cache(maxsize=256)
def pretest_figures(region: Region, case: Case, count: int = 500, seed: int = 0) -> Pretest:
    """The pre-test figures of `case` and `count` draws of them. Kept: do not write into them."""
    conditions, table = conditions_of(region), pretest_table_of(region)
    rng = np.random.default_rng(seed)
    factors = _factors(table, case)
    base = [r for r in table.of_kind("base") if r.setting == case.setting]
    side = _drawn(conditions, base, factors, count, rng)
    free_rows = [r for r in table.of_kind("free") if r.age_low <= case.age < r.age_high + 1]
    free = _drawn(conditions, free_rows, [], count, rng)
    person = np.array([conditions.by_id[name].scope == "person" for name, _ in conditions.columns])
    free.mean[person], free.draws[:, person] = side.mean[person], side.draws[:, person]
    before = side.draws
    if case.complaint_sides:
        before = before_complaint(side.draws, conditions, case.complaint_sides)
    used = tuple(row.id for row in (*base, *factors, *free_rows))
    return Pretest(
        case, side.mean, free.mean, side.draws, free.draws, before, used, _warnings(case)
    )


def _warnings(case: Case) -> tuple[str, ...]:
    if case.age < 18:
        return ("The figures are of adults: no probability is shown under 18.",)
    return ()


def _factors(table: PretestTable, case: Case) -> list[PretestRow]:
    ages = [r for r in table.of_kind("age") if r.age_low <= case.age < r.age_high + 1]
    sexes = [r for r in table.of_kind("sex") if r.sex == case.sex]
    known = [
        r
        for r in table.of_kind("modifier")
        if r.when in case.modifiers and (not r.setting or case.setting in r.setting.split(";"))
    ]
    return [*ages, *sexes, *known]


@dataclass(frozen=True)
class _Drawn:
    mean: Array
    draws: Array


def _drawn(
    conditions: Conditions,
    base: Sequence[PretestRow],
    factors: Sequence[PretestRow],
    count: int,
    rng: np.random.Generator,
) -> _Drawn:
    """Figures (C,) and draws (count, C) from base rows and odds factors."""
    columns = len(conditions.columns)
    value, sd = np.zeros(columns), np.zeros(columns)
    for row in base:
        c = conditions.column_index[row.condition, row.level]
        value[c] = row.value
        sd[c] = (_logit(row.high) - _logit(row.low)) / WIDTH95
    shift, extra = np.zeros(columns), np.zeros(columns)
    for row in factors:
        c = conditions.column_index[row.condition, row.level]
        shift[c] += np.log(row.value)
        extra[c] += ((np.log(row.high) - np.log(row.low)) / WIDTH95) ** 2
    spread = np.sqrt(sd * sd + extra)
    noise = spread * rng.standard_normal((count, columns))
    mean = _shares(conditions, value, shift[None])[0]
    draws = _shares(conditions, value, shift + noise)
    return _Drawn(mean, _recentred(conditions, draws, mean))


def _logit(p: float) -> float:
    return float(np.log(p / (1 - p)))


def _shares(conditions: Conditions, value: Array, shift: Array) -> Array:
    """(D, C): odds against none, moved by `shift` (D, C) on the log scale, back to shares."""
    found = np.zeros_like(shift)
    for part in conditions.slices.values():
        none = 1 - value[part].sum()
        odds = value[part] / none * np.exp(shift[:, part])
        found[:, part] = odds / (1 + odds.sum(axis=1, keepdims=True))
    return found


def _recentred(conditions: Conditions, draws: Array, mean: Array) -> Array:
    """Draws scaled, level by level, to the mean wanted; a condition keeps room for none.

    Where a draw has to be cut back, the scaling is repeated: the mean ends within 1e-9.
    """
    found = draws.copy()
    for _ in range(60):
        centre = found.mean(axis=0)
        scale = np.divide(mean, centre, out=np.ones_like(mean), where=centre > 0)
        found *= scale
        for part in conditions.slices.values():
            total = found[:, part].sum(axis=1, keepdims=True)
            found[:, part] *= np.minimum(1.0, LARGEST_SHARE / np.maximum(total, 1e-300))
        if np.abs(found.mean(axis=0) - mean).max() < 1e-10:
            break
    return found
