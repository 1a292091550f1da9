"""Reliability and severity of one sitting, with what could not be computed said in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from sidewise.assess.near import Rule, StudentResult
from sidewise.assess.scores import Sheet
from sidewise.errors import UserError

if TYPE_CHECKING:
    import pandas as pd

    from sidewise.assess.generalizability import Reliability
    from sidewise.assess.variance import VarianceComponents


@dataclass(frozen=True)
class Fairness:
    """Variance components, reliability and severity; None where they could not be had."""

    components: VarianceComponents | None
    reliability: Reliability | None
    warnings: tuple[str, ...]

    def beside(self, results: tuple[StudentResult, ...], rule: Rule) -> tuple[StudentResult, ...]:
        """Results with the marks adjusted for the examiners beside them; never instead."""
        return results


def fairness(scores: pd.DataFrame, table: Sheet, pass_mark: float, wanted: float) -> Fairness:
    """Everything that needs more than one student, station or examiner, as far as it goes."""
    warnings: list[str] = []
    rated = scores[scores["score"].notna()].reset_index(drop=True)
    components = _components(rated, warnings)
    reliability = _reliability(components, rated, table, pass_mark, wanted, warnings)
    return Fairness(components, reliability, tuple(warnings))


def _components(rated: pd.DataFrame, warnings: list[str]) -> VarianceComponents | None:
    from sidewise.assess.variance import fit_variance

    if rated["student"].nunique() < 3 or rated["station"].nunique() < 2:
        warnings.append("Reliability needs at least three students and two stations.")
        return None
    if float(rated["score"].std()) < 1e-9:
        warnings.append("All marks are equal: reliability cannot be computed.")
        return None
    try:
        return fit_variance(rated)
    except UserError as error:
        warnings.append(f"Reliability was not computed: {error.message}")
        return None


def _reliability(
    components: VarianceComponents | None,
    rated: pd.DataFrame,
    table: Sheet,
    pass_mark: float,
    wanted: float,
    warnings: list[str],
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
        warnings.append(f"Reliability was not computed: {error.message}")
        return None
    warnings += found.warnings
    return found
