"""Many levels crossed with students: one answer, by less memory, whoever is eliminated first."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from sidewise.errors import UserError
from sidewise.teaching.reliability import reml, variance_design
from sidewise.teaching.reliability.variance_components import VarianceComponents, fit_variance
from tests.teaching.published import PLATES, long


@pytest.fixture
def ratings() -> pd.DataFrame:
    """80 students, 120 raters, about 900 ratings; students have from one to twenty-odd."""
    rng = np.random.default_rng(8)
    many = 900
    student = np.minimum(rng.geometric(0.03, many) - 1, 79)
    rater = rng.integers(0, 120, many)
    score = rng.normal(0, 1, 80)[student] + rng.normal(0, 0.7, 120)[rater] + rng.normal(0, 1, many)
    return pd.DataFrame({"student": student, "examiner": rater, "score": score})


def _fit(table: pd.DataFrame) -> VarianceComponents:
    return fit_variance(table, facets=("student", "examiner"), cell=False, intervals="wald")


def _assert_same(one: VarianceComponents, other: VarianceComponents, within: float) -> None:
    assert one.criterion == pytest.approx(other.criterion, abs=1e-7)
    for name, value in one.components.items():
        assert other.components[name] == pytest.approx(value, rel=within)
        # By differences of the slope at the two ends of the search, so to fewer digits.
        assert other.standard_errors[name] == pytest.approx(one.standard_errors[name], rel=1e-3)
        assert other.levels.get(name) == one.levels.get(name)


def test_outer_products_held_and_summed_anew_give_one_likelihood(
    ratings: pd.DataFrame, monkeypatch: pytest.MonkeyPatch
) -> None:
    codes = [np.unique(ratings[n], return_inverse=True)[1] for n in ("student", "examiner")]
    y, widths = ratings["score"].to_numpy(), (int(codes[1].max()) + 1,)
    held = reml.sums_of_design(y, codes[:1], codes[1:], widths)
    monkeypatch.setattr(reml, "MOST_HELD", 0)
    anew = reml.sums_of_design(y, codes[:1], codes[1:], widths)
    assert held.outer is not None
    assert anew.outer is None
    for ratios in ([0.8, 0.3], [0.0, 0.5], [2.0, 0.0]):
        one, other = (reml.restricted_likelihood(s, np.array(ratios)) for s in (held, anew))
        assert other.criterion == pytest.approx(one.criterion, rel=1e-12)
        assert other.gradient == pytest.approx(one.gradient, rel=1e-9, abs=1e-9)


def test_who_is_eliminated_first_changes_nothing(
    ratings: pd.DataFrame, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = _fit(ratings)
    monkeypatch.setattr(variance_design, "WIDEST", 100)
    design = variance_design.variance_design(ratings, ("student", "examiner"), False, "score")
    assert list(design.chain) == ["examiner"]
    assert list(design.crossed) == ["student"]
    _assert_same(before, _fit(ratings), within=1e-4)


def test_two_facets_too_wide_for_a_matrix_are_refused(
    ratings: pd.DataFrame, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(variance_design, "WIDEST", 50)
    with pytest.raises(UserError, match="crossed levels"):
        _fit(ratings)


def test_published_plates_either_way(monkeypatch: pytest.MonkeyPatch) -> None:
    """Penicillin (Davies & Goldsmith 1972, table 6.6) as printed in the documentation of lme4
    (Bates, Maechler, Bolker, Walker, J Stat Softw 2015; 67(1)): standard deviations 0.8467 of
    plates, 1.9316 of samples, 0.5499 of what is left; restricted criterion 330.8606."""
    table = long(PLATES)[["student", "station", "score"]]
    monkeypatch.setattr(variance_design, "WIDEST", 10)
    monkeypatch.setattr(reml, "MOST_HELD", 0)
    turned = table.rename(columns={"student": "station", "station": "student"})
    found = fit_variance(turned, facets=("student", "station"), cell=False, intervals="none")
    assert found.criterion == pytest.approx(330.8606, abs=5e-5)
    deviations = {name: value**0.5 for name, value in found.components.items()}
    assert deviations == pytest.approx(
        {"station": 0.8467, "student": 1.9316, "residual": 0.5499}, abs=6e-5
    )
