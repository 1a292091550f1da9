"""Reliability, severity, drift and halo of one sitting; what could not be computed is said."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

import numpy as np

from sidewise.errors import UserError
from sidewise.teaching.pass_marks.decisions import Rule, StudentResult
from sidewise.teaching.tables.scores import Sheet

if TYPE_CHECKING:
    import pandas as pd

    from sidewise.teaching.reliability.composite import Composite
    from sidewise.teaching.reliability.generalizability import Reliability
    from sidewise.teaching.reliability.variance_components import VarianceComponents
    from sidewise.teaching.severity.central_tendency import CentralTendency
    from sidewise.teaching.severity.drift import Drift
    from sidewise.teaching.severity.examiner_groups import ExaminerGap
    from sidewise.teaching.severity.group_comparison import GroupComparison
    from sidewise.teaching.severity.halo import Halo
    from sidewise.teaching.severity.mark_severity import MarkSeverity
    from sidewise.teaching.severity.rating_severity import SeverityResult

Result = TypeVar("Result")

# The model of ratings uses the global ratings when this share of performances has one; else marks.
RATED_ENOUGH = 0.95


@dataclass(frozen=True)
class Fairness:
    """Variance components, reliability and examiners; None where they could not be had.

    `severity` is in points of 100 and says who is named; `model` is the many-facet model of what
    `model_of` says (the global ratings or the marks), in logits with fit statistics: another
    view of the same examiners, from which nobody is named. `drift_by` says what gave the order.
    `spread` holds each examiner's spread of marks beside colleagues'. `groups` compares the groups
    of students that the table names, `examiner_groups` each examiner's marks for them, `circuits`
    the circuits; `domains` are those that the table
    gives the stations. `recorded` counts recorded performances that several examiners marked to
    link circuits.
    """

    components: VarianceComponents | None = None
    reliability: Reliability | None = None
    severity: MarkSeverity | None = None
    model: SeverityResult | None = None
    model_of: str = ""
    drift: Drift | None = None
    drift_by: str = ""
    halo: Halo | None = None
    spread: CentralTendency | None = None
    recorded: int = 0
    circuits: GroupComparison | None = None
    groups: GroupComparison | None = None
    domains: Composite | None = None
    examiner_groups: tuple[ExaminerGap, ...] = ()
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


def examiner_fairness(
    marks: pd.DataFrame, scores: pd.DataFrame, table: Sheet, pass_mark: float, wanted: float,
    linking: pd.DataFrame | None = None,
) -> Fairness:  # fmt: skip
    """Everything that needs more than one student, station or examiner, as far as it goes.

    `linking`: performances that were recorded and marked by examiners of several circuits. They
    tell examiners apart and count for nothing else.
    """
    notes: list[str] = []
    rated = scores[scores["score"].notna()].reset_index(drop=True)
    components = _components(rated, notes)
    reliability = _reliability(components, rated, table, pass_mark, wanted, notes)
    domains = _domains(marks, table, notes)
    if rated["examiner"].nunique() < 2:
        notes.append("One examiner only: severity cannot be told from difficulty.")
        return Fairness(components, reliability, domains=domains, warnings=tuple(notes))
    return replace(
        _examiners(marks, rated, _linked(rated, linking, notes), notes),
        recorded=_recorded(linking),
        components=components,
        reliability=reliability,
        domains=domains,
        circuits=_circuits(rated, notes),
        groups=_groups(marks, rated, notes),
        examiner_groups=_examiner_groups(marks, rated),
        warnings=tuple(notes),
    )


def _linked(rated: pd.DataFrame, linking: pd.DataFrame | None, notes: list[str]) -> pd.DataFrame:
    """Performances with the recorded ones at their stations behind them."""
    if linking is None or not len(linking):
        return rated
    import pandas as pd

    known = linking[linking["score"].notna() & linking["station"].isin(rated["station"].unique())]
    if len(known) < len(linking):
        notes.append(f"{len(linking) - len(known)} marks of recorded performances are of no use: "
                     "blank, or at a station that nobody else was marked at.")  # fmt: skip
    return pd.concat([rated, known], ignore_index=True)


def _recorded(linking: pd.DataFrame | None) -> int:
    if linking is None or not len(linking):
        return 0
    known = linking[linking["score"].notna()]
    return len(known[["student", "station"]].drop_duplicates())


def _examiners(
    marks: pd.DataFrame, rated: pd.DataFrame, linked: pd.DataFrame, notes: list[str]
) -> Fairness:
    from sidewise.teaching.severity.central_tendency import central_tendency
    from sidewise.teaching.severity.drift import fit_drift
    from sidewise.teaching.severity.halo import find_halo
    from sidewise.teaching.severity.mark_severity import severity_in_marks
    from sidewise.teaching.severity.rating_severity import fit_severity
    from sidewise.teaching.severity.ratings import to_categories

    severity = _tried("Severity", lambda: severity_in_marks(linked), notes)
    if severity is not None and len(linked) > len(rated):
        own = severity.students["student"].isin(rated["student"].unique())
        severity = replace(severity, students=severity.students[own].reset_index(drop=True))
    given = linked["global_rating"]
    use_rating = bool(given.notna().mean() >= RATED_ENOUGH) and not (given % 1 > 0).any()
    if use_rating:
        kept = linked[given.notna()]
        model = _tried("The model of ratings", lambda: fit_severity(_whole(kept)), notes)
    else:
        model = _tried("The model of marks", lambda: fit_severity(to_categories(linked)), notes)
    drift = halo = None
    order = _order(rated)
    if order:
        placed = rated.assign(time=_places(rated, order))
        drift = _tried("Drift", lambda: fit_drift(placed, order="time"), notes)
    if marks["item"].nunique() > 2:
        halo = _tried("Halo", lambda: find_halo(marks[marks["mark"].notna()]), notes)
    spread = _tried("The spread of marks", lambda: central_tendency(rated), notes)
    for found in (severity, model, drift, halo):
        notes += [w for w in (found.warnings if found else ()) if w not in notes]
    basis = "global ratings" if use_rating else "marks"
    return Fairness(
        severity=severity, model=model, model_of=basis, drift=drift,
        drift_by=order, halo=halo, spread=spread,
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
    from sidewise.teaching.severity.group_comparison import compare_groups

    known = marks[["student", "group"]].dropna().drop_duplicates("student")
    if known["group"].nunique() < 2:
        return None
    grouped = _grouped(marks, rated)
    found = _tried("The comparison of groups", lambda: compare_groups(grouped, "group"), notes)
    lost = rated["student"].nunique() - len(known)
    if lost:
        notes.append(f"{lost} students without a group are left out of that comparison.")
    notes += [w for w in (found.warnings if found else ()) if w not in notes]
    return found


def _grouped(marks: pd.DataFrame, rated: pd.DataFrame) -> pd.DataFrame:
    known = marks[["student", "group"]].dropna().drop_duplicates("student")
    belongs = dict(zip(known["student"], known["group"], strict=True))
    return rated.assign(group=rated["student"].map(belongs))


def _examiner_groups(marks: pd.DataFrame, rated: pd.DataFrame) -> tuple[ExaminerGap, ...]:
    from sidewise.teaching.severity.examiner_groups import examiner_group_gaps

    if marks["group"].nunique() < 2:
        return ()
    return examiner_group_gaps(_grouped(marks, rated), "group")


def _domains(marks: pd.DataFrame, table: Sheet, notes: list[str]) -> Composite | None:
    """The composite over the domains of the blueprint, where every station has one."""
    from sidewise.teaching.reliability.composite import composite_reliability

    known = marks[["station", "domain"]].dropna().drop_duplicates("station")
    if known["domain"].nunique() < 2:
        return None
    belongs = dict(zip(known["station"], known["domain"], strict=True))
    lost = [s for s in table.stations if s not in belongs]
    if lost:
        notes.append(f"Domains are not compared: {', '.join(lost)} has none.")
        return None
    domain_of = [str(belongs[s]) for s in table.stations]
    found = _tried(
        "Reliability by domains",
        lambda: composite_reliability(table.score, table.stations, domain_of), notes,
    )  # fmt: skip
    notes += [w for w in (found.warnings if found else ()) if w not in notes]
    return found


def _circuits(rated: pd.DataFrame, notes: list[str]) -> GroupComparison | None:
    """Circuits as groups of students, where every student stayed in one."""
    from sidewise.teaching.severity.group_comparison import compare_groups

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
    from sidewise.teaching.reliability.variance_components import fit_variance

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
    from sidewise.teaching.reliability.generalizability import Design, g_study

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
