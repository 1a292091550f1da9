"""Reliability and severity of one sitting, with what could not be computed said in words."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from sidewise.assess.examiner_effects import ExaminerEffects, examiner_effects
from sidewise.assess.near import Rule, StudentResult
from sidewise.assess.scores import Sheet
from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

    from sidewise.assess.connect import LinkedSets
    from sidewise.assess.generalizability import Reliability
    from sidewise.assess.severity import SeverityResult
    from sidewise.assess.variance import VarianceComponents

# Global ratings decide on severity when this share of performances has one; else the marks do.
RATED_ENOUGH = 0.95


@dataclass(frozen=True)
class Fairness:
    """Variance components, reliability and severity; None where they could not be had.

    `severity` is of what `severity_from` says (the global ratings or the marks); `effects` are in
    points of 100 and exist only where all examiners are linked.
    """

    components: VarianceComponents | None
    reliability: Reliability | None
    linked: LinkedSets | None
    severity: SeverityResult | None
    severity_from: str
    effects: ExaminerEffects | None
    warnings: tuple[str, ...]
    drift: Any = None
    halo: Any = None

    def beside(self, results: tuple[StudentResult, ...], rule: Rule) -> tuple[StudentResult, ...]:
        """Results with the marks adjusted for the examiners beside them; never instead."""
        if self.effects is None:
            return results
        change = self.effects.adjustment
        return tuple(_adjusted(r, change.get(r.student, 0.0), rule) for r in results)


def _adjusted(result: StudentResult, change: float, rule: Rule) -> StudentResult:
    total = result.total + change
    decided = result.by_marks in ("pass", "fail")
    if not decided:
        return replace(result, adjusted=None if np.isnan(total) else total)
    return replace(
        result, adjusted=total, adjusted_decision="pass" if total >= rule.applied else "fail"
    )


def fairness(scores: pd.DataFrame, table: Sheet, pass_mark: float, wanted: float) -> Fairness:
    """Everything that needs more than one student, station or examiner, as far as it goes."""
    notes: list[str] = []
    rated = scores[scores["score"].notna()].reset_index(drop=True)
    components = _components(rated, notes)
    reliability = _reliability(components, rated, table, pass_mark, wanted, notes)
    linked = _linked(rated, notes)
    severity = _severity(scores, rated, notes)
    effects = _effects(rated, linked, components)
    return Fairness(
        components, reliability, linked, severity.result, severity.basis, effects, tuple(notes)
    )


def _components(rated: pd.DataFrame, notes: list[str]) -> VarianceComponents | None:
    if rated["student"].nunique() < 3 or rated["station"].nunique() < 2:
        notes.append("Reliability needs at least three students and two stations.")
        return None
    if float(rated["score"].std()) < 1e-9:
        notes.append("All marks are equal: reliability cannot be computed.")
        return None
    try:
        return _fitted(rated, notes)
    except UserError as error:
        notes.append(f"Reliability was not computed: {error.message}")
        return None


def _fitted(rated: pd.DataFrame, notes: list[str]) -> VarianceComponents:
    """Components with their limits; where the search for a limit breaks down, without, and said."""
    from sidewise.assess.variance import fit_variance

    try:
        with np.errstate(invalid="raise", divide="raise"):
            return fit_variance(rated)
    except (ArithmeticError, np.linalg.LinAlgError):
        notes.append("The limits of the variance components could not be computed.")
        return fit_variance(rated, intervals="none")


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


def _linked(rated: pd.DataFrame, notes: list[str]) -> LinkedSets | None:
    from sidewise.assess.connect import linked_sets

    try:
        found = linked_sets(rated)
    except UserError as error:
        notes.append(f"Links between circuits were not looked for: {error.message}")
        return None
    if not found.connected:
        notes.append(found.sentence)
    return found


@dataclass(frozen=True)
class _Severity:
    result: SeverityResult | None
    basis: str


def _severity(scores: pd.DataFrame, rated: pd.DataFrame, notes: list[str]) -> _Severity:
    """From the global ratings where nearly all have one: they carry less noise than few items."""
    from sidewise.assess.ratings import to_categories
    from sidewise.assess.severity import fit_severity

    given = scores["global_rating"].notna()
    use_rating = bool(given.mean() >= RATED_ENOUGH) and not (scores["global_rating"] % 1 > 0).any()
    basis = "global ratings" if use_rating else "marks"
    if rated["examiner"].nunique() < 2:
        notes.append("One examiner only: severity cannot be told from difficulty.")
        return _Severity(None, basis)
    try:
        if use_rating:
            kept = scores[given].assign(category=scores["global_rating"][given].astype(int))
            found = fit_severity(kept)
        else:
            found = fit_severity(to_categories(rated))
    except UserError as error:
        notes.append(f"Severity was not computed: {error.message}")
        return _Severity(None, basis)
    notes += found.warnings
    return _Severity(found, basis)


def _effects(
    rated: pd.DataFrame, linked: LinkedSets | None, components: VarianceComponents | None
) -> ExaminerEffects | None:
    """Points of 100, only where every examiner can be compared with every other."""
    if linked is None or not linked.connected or components is None:
        return None
    if rated["examiner"].nunique() < 2 or rated["station"].nunique() < 2:
        return None
    between = components.components.get("examiner", 0.0)
    within = components.components.get("residual", 0.0)
    within += components.components.get("student_station", 0.0)
    return examiner_effects(rated, within / between if between > 0 else float("inf"))
