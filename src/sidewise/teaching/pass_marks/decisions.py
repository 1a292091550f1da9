"""Each student's decision by every rule in force, the reasons, and how sure it is.

A critical error is never averaged away: unless the rules say that it fails, whoever made one is
held for the board whatever the total. A student without marks at a station gets no decision: what
was not examined is not read as passed or failed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sidewise.ground.arrays import BoolArray
from sidewise.teaching.pass_marks.decision_chances import DecisionChances
from sidewise.teaching.tables.scores import Sheet

Decision = Literal["pass", "fail", "held", "incomplete", "no pass mark"]
Critical = Literal["hold", "fail"]

NEAR = 0.10


@dataclass(frozen=True, slots=True)
class StudentResult:
    """One student. Marks in percent.

    `decision`: pass or fail by the rules; held (for another look by the board); incomplete (a
    station without marks). `reasons` say which rule failed or held the student. `by_marks` is what
    the total alone would say, `by_rules` what pass mark and stations say without the rules that
    hold. `other` is the chance that the other of `by_rules` is right, all its rules together;
    `again` the chance that a second such examination would decide otherwise; both NaN where no
    decision was due or no true score could be had. `near`: a pass or fail whose `other` is above
    the threshold.
    """

    student: str
    total: float
    margin: float
    decision: Decision
    by_marks: Decision
    by_rules: Decision
    reasons: tuple[str, ...]
    other: float
    again: float
    near: bool
    stations_marked: int
    stations_passed: int | None
    short_of_stations: bool
    critical_at: tuple[str, ...]
    missing_at: tuple[str, ...]
    adjusted: float | None = None
    adjusted_decision: Decision | None = None

    @property
    def settled(self) -> bool:
        """Whether the student passed or failed."""
        return self.decision in ("pass", "fail")


@dataclass(frozen=True, slots=True)
class Rule:
    """The rules of decision: pass mark, what is added, stations, critical errors, another look.

    `mark`, `mark_se` and `sem` in percent; `added` is what is added to the mark (a multiple of the
    standard error of measurement); `stations` the least number to be passed, 0 for none;
    `critical` whether a critical error holds or fails; `look_again` the chance of the other
    decision above which a pass or fail is held, None for never; `threshold` that above which a
    student is named; `method` what set the mark.
    """

    mark: float
    mark_se: float
    sem: float
    added: float = 0.0
    stations: int = 0
    threshold: float = NEAR
    critical: Critical = "hold"
    look_again: float | None = None
    method: str = ""

    @property
    def applied(self) -> float:
        """The mark that decides."""
        return self.mark + self.added

    def in_force(self, stations: int) -> tuple[str, ...]:
        """Every rule in words; `stations` is how many there are."""
        return tuple(
            text for text in (
                self._mark_rule(), self._station_rule(stations), self._critical_rule(),
                self._look_rule(), "a station without marks: no decision",
            ) if text
        )  # fmt: skip

    def _mark_rule(self) -> str:
        if np.isnan(self.mark):
            return "no pass mark: nobody passes or fails"
        by = f" ({self.method})" if self.method else ""
        if not self.added:
            return f"total at or above {self.applied:.1f}{by}"
        return (
            f"total at or above {self.applied:.1f}{by}, {self.added:.1f} of it for the error of "
            "measurement"
        )

    def _station_rule(self, stations: int) -> str:
        if not self.stations:
            return ""
        return f"at least {self.stations} of {stations} stations passed"

    def _critical_rule(self) -> str:
        what = "fails" if self.critical == "fail" else "is held for the board"
        return f"a critical error {what}"

    def _look_rule(self) -> str:
        if self.look_again is None:
            return ""
        return f"held when the other decision has a chance above {100 * self.look_again:.0f}%"


def student_results(
    table: Sheet,
    rule: Rule,
    station_cuts: dict[str, float],
    chances: DecisionChances | None = None,
) -> tuple[StudentResult, ...]:
    """Every student's result by `rule`; `station_cuts` are the stations' own marks, percent."""
    cuts = np.array([station_cuts.get(name, np.nan) for name in table.stations])
    passed = (table.score >= cuts).sum(axis=1)
    none = np.full(len(table.students), np.nan)
    chances = chances or DecisionChances(none, none)
    found = _Found(
        total=table.score.mean(axis=1).tolist(),
        passed=passed.tolist() if not np.isnan(cuts).all() else None,
        missing=_named(table.stations, np.isnan(table.score)),
        critical=_named(table.stations, table.critical),
        right=chances.right.tolist(),
        again=chances.again.tolist(),
    )
    return tuple(_result(table, i, rule, found) for i in range(len(table.students)))


@dataclass(frozen=True, slots=True)
class _Found:
    """What the decisions rest on, by student; `passed` is None where no station has a mark."""

    total: list[float]
    passed: list[int] | None
    missing: list[tuple[str, ...]]
    critical: list[tuple[str, ...]]
    right: list[float]
    again: list[float]


def _named(stations: tuple[str, ...], which: BoolArray) -> list[tuple[str, ...]]:
    """For each student the names of the stations that are marked in `which`."""
    names: list[tuple[str, ...]] = [()] * len(which)
    # Most students have none.
    for i in np.flatnonzero(which.any(axis=1)):
        names[i] = tuple(stations[j] for j in np.flatnonzero(which[i]))
    return names


def _result(table: Sheet, i: int, rule: Rule, found: _Found) -> StudentResult:
    total, missing = found.total[i], found.missing[i]
    passed = found.passed[i] if found.passed is not None else None
    by_marks = _by_marks(total, rule.applied, bool(missing))
    short = passed is not None and not missing and passed < rule.stations
    by_rules: Decision = "fail" if by_marks == "pass" and short else by_marks
    other = _other(by_rules, found.right[i])
    judged = _judged(by_rules, other, found.critical[i], rule)
    reasons = _failed_by(total, missing, by_marks, passed if short else None, rule)
    return StudentResult(
        student=table.students[i],
        total=total,
        margin=total - rule.applied,
        decision=judged.decision,
        by_marks=by_marks,
        by_rules=by_rules,
        reasons=judged.reasons + reasons,
        other=other,
        again=_other(by_rules, found.again[i]),
        near=judged.near,
        stations_marked=len(table.stations) - len(missing),
        stations_passed=passed,
        short_of_stations=short,
        critical_at=found.critical[i],
        missing_at=missing,
    )


def _other(decision: Decision, passing: float) -> float:
    """The chance of the other decision from that of passing."""
    if decision not in ("pass", "fail"):
        return float("nan")
    return 1 - passing if decision == "pass" else passing


def _failed_by(
    total: float, missing: tuple[str, ...], by_marks: Decision, short: int | None, rule: Rule
) -> tuple[str, ...]:
    """The rules that a student does not meet, critical errors aside; `short`: stations passed
    where these are too few."""
    reasons = []
    if missing:
        reasons.append(f"no marks at {', '.join(missing)}")
    if by_marks == "fail":
        reasons.append(below_text(total, rule.applied))
    if short is not None:
        reasons.append(f"{short} stations passed, {rule.stations} needed")
    return tuple(reasons)


@dataclass(frozen=True, slots=True)
class _Judged:
    decision: Decision
    reasons: tuple[str, ...] = ()
    near: bool = False


def _judged(by_rules: Decision, other: float, critical: tuple[str, ...], rule: Rule) -> _Judged:
    """The rules that fail or hold on top of pass mark and stations, with their reasons."""
    if critical:
        why = f"critical error at {', '.join(critical)}"
        others = (f"{by_rules} by the other rules",) if by_rules in ("pass", "fail") else ()
        return _Judged("held" if rule.critical == "hold" else "fail", (why, *others))
    if rule.look_again is not None and other > rule.look_again:
        why = f"{by_rules} by the rules, but {100 * other:.0f}% for the other decision"
        return _Judged("held", (why,))
    return _Judged(by_rules, near=other > rule.threshold)


def _by_marks(total: float, mark: float, incomplete: bool) -> Decision:
    if incomplete:
        return "incomplete"
    if np.isnan(mark) or np.isnan(total):
        return "no pass mark"
    return "pass" if total >= mark else "fail"


def below_text(total: float, mark: float) -> str:
    """A total below a mark, with as many decimals (one to four) as it takes to see that it is."""
    texts = [(f"{total:.{n}f}", f"{mark:.{n}f}") for n in range(1, 5)]
    shown = next((pair for pair in texts if pair[0] != pair[1]), texts[-1])
    return f"total {shown[0]} below {shown[1]}"
