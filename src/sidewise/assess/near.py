"""Each student's result, how sure it is, and who stands near the mark.

A critical error is never averaged away: whoever made one is held for the board whatever the
total. A student without marks at a station gets no decision: what was not examined is not read
as passed or failed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sidewise.assess.scores import Sheet

Floats = NDArray[np.float64]
Decision = Literal["pass", "fail", "held", "incomplete", "no pass mark"]

NEAR = 0.10


@dataclass(frozen=True, slots=True)
class StudentResult:
    """One student. Marks in percent.

    `decision`: pass or fail by the rule; held (a critical error, for the board); incomplete (a
    station without marks). `by_marks` is what the total alone would say. `other` is the
    probability that the student's true score lies on the other side of the mark; `near` whether it
    is above the threshold. `short_stations` passed fewer stations than the rule asks.
    """

    student: str
    total: float
    margin: float
    decision: Decision
    by_marks: Decision
    other: float
    near: bool
    stations_marked: int
    stations_passed: int | None
    short_of_stations: bool
    critical_at: tuple[str, ...]
    missing_at: tuple[str, ...]
    adjusted: float | None = None
    adjusted_decision: Decision | None = None


@dataclass(frozen=True, slots=True)
class Rule:
    """The rule of decision: the mark, what is added, and how many stations must be passed.

    `mark` and `mark_se` in percent (the latter 0 where unknown); `added` is what is added to the
    mark (a multiple of the standard error of measurement); `stations` 0 for none.
    """

    mark: float
    mark_se: float
    sem: float
    added: float = 0.0
    stations: int = 0
    threshold: float = NEAR

    @property
    def applied(self) -> float:
        """The mark that decides."""
        return self.mark + self.added


def other_side(margin: Floats, sem: float, mark_se: float) -> Floats:
    """Probability that the true score is on the other side of the mark.

    Phi(-|margin| / sqrt(sem^2 + mark_se^2)): normal error, every true score equally likely
    beforehand, and the mark itself uncertain. `margin` = total - mark, percent.
    """
    from scipy.special import ndtr

    spread = float(np.hypot(sem, mark_se))
    if not np.isfinite(spread):
        return np.full(margin.shape, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        z = np.where(margin == 0, 0.0, np.abs(margin) / spread)
    return np.asarray(ndtr(-z))


def student_results(
    table: Sheet, rule: Rule, station_cuts: dict[str, float]
) -> tuple[StudentResult, ...]:
    """Every student's result by `rule`; `station_cuts` are the stations' own marks, percent."""
    total = table.total()
    margin = total - rule.applied
    other = other_side(margin, rule.sem, rule.mark_se)
    cuts = np.array([station_cuts.get(name, np.nan) for name in table.stations])
    passed = (table.score >= cuts).sum(axis=1)
    return tuple(
        _result(table, i, rule, float(total[i]), float(other[i]), int(passed[i]), cuts)
        for i in range(len(table.students))
    )


def _result(
    table: Sheet, i: int, rule: Rule, total: float, other: float, passed: int, cuts: Floats
) -> StudentResult:
    critical = _names(table.stations, table.critical[i])
    missing = _names(table.stations, np.isnan(table.score[i]))
    by_marks = _by_marks(total, rule.applied, bool(missing))
    judged = not np.isnan(cuts).all()
    short = judged and not missing and passed < rule.stations
    return StudentResult(
        student=table.students[i],
        total=total,
        margin=total - rule.applied,
        decision=_decision(by_marks, bool(critical), short),
        by_marks=by_marks,
        other=other,
        near=bool(other > rule.threshold),
        stations_marked=len(table.stations) - len(missing),
        stations_passed=passed if judged else None,
        short_of_stations=short,
        critical_at=critical,
        missing_at=missing,
    )


def _names(stations: tuple[str, ...], which: NDArray[np.bool_]) -> tuple[str, ...]:
    return tuple(name for name, there in zip(stations, which, strict=True) if there)


def _by_marks(total: float, mark: float, incomplete: bool) -> Decision:
    if incomplete:
        return "incomplete"
    if np.isnan(mark) or np.isnan(total):
        return "no pass mark"
    return "pass" if total >= mark else "fail"


def _decision(by_marks: Decision, critical: bool, short: bool) -> Decision:
    if critical:
        return "held"
    return "fail" if by_marks == "pass" and short else by_marks
