"""Reliability, severity, drift and halo of one sitting; what could not be computed is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from sidewise.assess.near import Rule, StudentResult
from sidewise.assess.scores import Sheet
from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

    from sidewise.assess.drift import Drift
    from sidewise.assess.generalizability import Reliability
    from sidewise.assess.groups import GroupComparison
    from sidewise.assess.halo import Halo
    from sidewise.assess.mark_severity import MarkSeverity
    from sidewise.assess.severity import SeverityResult
    from sidewise.assess.variance import VarianceComponents

Result = TypeVar("Result")

# The model of ratings uses the global ratings when this share of performances has one; else marks.
RATED_ENOUGH = 0.95


@dataclass(frozen=True)
class Fairness:
    """Variance components, reliability and examiners; None where they could not be had.

    `severity` is in points of 100 and says who is named; `model` is the many-facet model of what
    `model_of` says (the global ratings or the marks), in logits with fit statistics: another
    view of the same examiners, from which nobody is named. `drift_by` says what gave the order.
    `groups` compares the groups of students that the table names, `circuits` the circuits.
    """

    components: VarianceComponents | None = None
    reliability: Reliability | None = None
    severity: MarkSeverity | None = None
    model: SeverityResult | None = None
    model_of: str = ""
    drift: Drift | None = None
    drift_by: str = ""
    halo: Halo | None = None
    circuits: GroupComparison | None = None
    groups: GroupComparison | None = None
    warnings: tuple[str, ...] = ()

    @property
    def linked(self) -> bool:
        """Whether every examiner can be compared with every other."""
        return self.severity is not None and self.severity.connected

    def beside(self, results: tuple[StudentResult, ...], rule: Rule) -> tuple[StudentResult, ...]:
        """Results with the marks adjusted for the examiners beside them; never instead."""
        if self.severity is None or not self.linked:
            return results
        students = self.severity.students
        change = dict(zip(students["student"], students["adjustment"], strict=True))
        return tuple(_adjusted(r, float(change.get(r.student, 0.0)), rule) for r in results)


def _adjusted(result: StudentResult, change: float, rule: Rule) -> StudentResult:
    total = result.total + change
    decided = result.by_marks in ("pass", "fail")
    if not decided:
        return replace(result, adjusted=None if np.isnan(total) else total)
    return replace(
        result, adjusted=total, adjusted_decision="pass" if total >= rule.applied else "fail"
    )


def fairness(
    marks: pd.DataFrame, scores: pd.DataFrame, table: Sheet, pass_mark: float, wanted: float
) -> Fairness:
    """Everything that needs more than one student, station or examiner, as far as it goes."""
    notes: list[str] = []
    rated = scores[scores["score"].notna()].reset_index(drop=True)
    components = _components(rated, notes)
    reliability = _reliability(components, rated, table, pass_mark, wanted, notes)
    if rated["examiner"].nunique() < 2:
        notes.append("One examiner only: severity cannot be told from difficulty.")
        return Fairness(components, reliability, warnings=tuple(notes))
    return replace(
        _examiners(marks, rated, notes),
        components=components,
        reliability=reliability,
        circuits=_circuits(rated, notes),
        groups=_groups(marks, rated, notes),
        warnings=tuple(notes),
    )


def _examiners(marks: pd.DataFrame, rated: pd.DataFrame, notes: list[str]) -> Fairness:
    from sidewise.assess.drift import fit_drift
    from sidewise.assess.halo import find_halo
    from sidewise.assess.mark_severity import severity_in_marks
    from sidewise.assess.ratings import to_categories
    from sidewise.assess.severity import fit_severity

    severity = _tried("Severity", lambda: severity_in_marks(rated), notes)
    given = rated["global_rating"]
    use_rating = bool(given.notna().mean() >= RATED_ENOUGH) and not (given % 1 > 0).any()
    if use_rating:
        kept = rated[given.notna()]
        model = _tried("The model of ratings", lambda: fit_severity(_whole(kept)), notes)
    else:
        model = _tried("The model of marks", lambda: fit_severity(to_categories(rated)), notes)
    drift = halo = None
    order = _order(rated)
    if order:
        placed = rated.assign(time=_places(rated, order))
        drift = _tried("Drift", lambda: fit_drift(placed, order="time"), notes)
    if marks["item"].nunique() > 2:
        halo = _tried("Halo", lambda: find_halo(marks[marks["mark"].notna()]), notes)
    for found in (severity, model, drift, halo):
        notes += [w for w in (found.warnings if found else ()) if w not in notes]
    basis = "global ratings" if use_rating else "marks"
    return Fairness(
        severity=severity, model=model, model_of=basis, drift=drift,
        drift_by=order, halo=halo,
    )  # fmt: skip


def _order(rated: pd.DataFrame) -> str:
    """The column that orders the day: times where every performance has one, else sessions."""
    if "time" in rated and rated["time"].notna().all() and rated["time"].nunique() > 1:
        return "time"
    return "session" if rated["session"].nunique() > 1 else ""


def _places(rated: pd.DataFrame, order: str) -> pd.Series[float]:
    """Places in the day; sessions by their numbers, else in the order in which they appear."""
    import pandas as pd

    numbers = pd.to_numeric(rated[order], errors="coerce")
    if numbers.notna().all():
        return numbers.astype(float)
    return pd.Series(pd.factorize(rated[order])[0], rated.index, dtype=float)


def _groups(marks: pd.DataFrame, rated: pd.DataFrame, notes: list[str]) -> GroupComparison | None:
    """Groups of students, where the table names any; students without one are left out."""
    from sidewise.assess.groups import compare_groups

    known = marks[["student", "group"]].dropna().drop_duplicates("student")
    if known["group"].nunique() < 2:
        return None
    belongs = dict(zip(known["student"], known["group"], strict=True))
    grouped = rated.assign(group=rated["student"].map(belongs))
    found = _tried("The comparison of groups", lambda: compare_groups(grouped, "group"), notes)
    lost = rated["student"].nunique() - len(known)
    if lost:
        notes.append(f"{lost} students without a group are left out of that comparison.")
    notes += [w for w in (found.warnings if found else ()) if w not in notes]
    return found


def _circuits(rated: pd.DataFrame, notes: list[str]) -> GroupComparison | None:
    """Circuits as groups of students, where every student stayed in one."""
    from sidewise.assess.groups import compare_groups

    if rated["circuit"].nunique() < 2 or rated.groupby("student")["circuit"].nunique().max() > 1:
        return None
    return _tried("The comparison of circuits", lambda: compare_groups(rated, "circuit"), notes)


def _whole(kept: pd.DataFrame) -> pd.DataFrame:
    return kept.assign(category=kept["global_rating"].astype(int))


def _tried(name: str, work: Callable[[], Result], notes: list[str]) -> Result | None:
    """The result, or None and why in `notes`: data may be too few for one part alone."""
    try:
        return work()
    except UserError as error:
        notes.append(f"{name} was not computed: {error.message}")
        return None


def _components(rated: pd.DataFrame, notes: list[str]) -> VarianceComponents | None:
    from sidewise.assess.variance import fit_variance

    if rated["student"].nunique() < 3 or rated["station"].nunique() < 2:
        notes.append("Reliability needs at least three students and two stations.")
        return None
    if float(rated["score"].std()) < 1e-9:
        notes.append("All marks are equal: reliability cannot be computed.")
        return None
    return _tried("Reliability", lambda: fit_variance(rated), notes)


def _reliability(
    components: VarianceComponents | None,
    rated: pd.DataFrame,
    table: Sheet,
    pass_mark: float,
    wanted: float,
    notes: list[str],
) -> Reliability | None:
    from sidewise.assess.generalizability import Design, g_study

    if components is None:
        return None
    per_cell = len(rated) / max(1, len(rated.drop_duplicates(["student", "station"])))
    design = Design(stations=len(table.stations), examiners=max(1.0, round(per_cell, 2)))
    total = table.total()
    mean = float(np.nanmean(total)) if np.isfinite(total).any() else None
    mark = None if np.isnan(pass_mark) else pass_mark
    try:
        found = g_study(components, design, pass_mark=mark, mean=mean, wanted=wanted)
    except UserError as error:
        notes.append(f"Reliability was not computed: {error.message}")
        return None
    notes += found.warnings
    return found
