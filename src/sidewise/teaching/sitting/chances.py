"""True scores and pass marks drawn for one sitting, brought together for the decisions' chances."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from sidewise.ground.arrays import Array
from sidewise.teaching.pass_marks.decision_chances import (
    PASS_MARKS,
    CutDraws,
    DecisionChances,
    decision_chances,
)
from sidewise.teaching.pass_marks.decisions import Rule
from sidewise.teaching.pass_marks.examination_mark import ExaminationMark
from sidewise.teaching.pass_marks.true_scores import TrueScores
from sidewise.teaching.tables.scores import Sheet

if TYPE_CHECKING:
    import pandas as pd

    from sidewise.teaching.reliability.variance_components import VarianceComponents

REGRESSION = "borderline regression"


def sitting_true_scores(
    scores: pd.DataFrame, components: VarianceComponents | None, seed: int
) -> TrueScores | None:
    """Posterior of true scores; None where no components could be had."""
    from sidewise.teaching.pass_marks.true_scores import true_scores

    return None if components is None else true_scores(scores, components, seed)


def sitting_chances(
    table: Sheet,
    true: TrueScores | None,
    mark: ExaminationMark,
    rule: Rule,
    cuts: dict[str, float],
    seed: int,
) -> DecisionChances | None:
    """Chances of passing by all rules; None without a pass mark or without true scores."""
    if true is None or np.isnan(rule.mark):
        return None
    drawn = drawn_cuts(table, mark, rule, cuts, np.random.default_rng(seed))
    return decision_chances(table, true, drawn, rule.stations, seed)


def drawn_cuts(
    table: Sheet, mark: ExaminationMark, rule: Rule, cuts: dict[str, float],
    rng: np.random.Generator,
) -> CutDraws:  # fmt: skip
    """Whole rows of the bootstrap where the lines decide, else normal draws about the marks."""
    own = np.array([cuts.get(name, np.nan) for name in table.stations])
    rows = _bootstrap_rows(mark, rng)
    stations = np.tile(own, (PASS_MARKS, 1))
    if rows is None:
        total = rng.normal(rule.mark, rule.mark_se, PASS_MARKS)
        return CutDraws(total + rule.added, stations)
    place = [table.stations.index(name) for name in mark.stations]
    stations[:, place] = np.where(np.isnan(own[place]), np.nan, rows)
    total = rows.mean(axis=1)
    if rule.method != REGRESSION:
        total = rng.normal(rule.mark, rule.mark_se, PASS_MARKS)
        return CutDraws(total + rule.added, stations)
    return CutDraws(total + rule.added, stations, mark.pull)


def _bootstrap_rows(mark: ExaminationMark, rng: np.random.Generator) -> Array | None:
    """Draws of the stations' marks; None where the bootstrap was not done."""
    known = mark.drawn[np.isfinite(mark.drawn).all(axis=1)] if mark.drawn.size else mark.drawn
    if len(known) < PASS_MARKS:
        return None
    return np.asarray(known[rng.integers(0, len(known), PASS_MARKS)])
