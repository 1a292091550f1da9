"""Coefficients, decisions and balanced tables against published ones."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.teaching.reliability.generalizability import (
    Design,
    decision_consistency,
    g_study,
    stations_needed,
)
from sidewise.teaching.reliability.mean_squares import (
    MeanSquares,
    crossed_components,
    crossed_mean_squares,
    method_one,
    nested_components,
    nested_mean_squares,
    three_way_components,
    three_way_mean_squares,
)
from sidewise.teaching.reliability.variance_components import fit_variance
from tests.teaching.published import BRENNAN, brennan_unbalanced, long, small_examination

NESTED = BRENNAN.reshape(10, 3, 4)


class TestBrennanPersonsByRatersInTasks:
    """Brennan 2001, table 3.2 and page 116."""

    def test_mean_squares(self):
        found = nested_mean_squares(NESTED).values
        printed = {"student": 10.29630, "station": 24.10000, "examiner": 8.85556,
                   "student_station": 4.61852, "residual": 2.38025}  # fmt: skip
        assert found == pytest.approx(printed, abs=6e-6)

    def test_components(self):
        found = nested_components(nested_mean_squares(NESTED), 10, 3, 4).components
        printed = {"student": 0.4731, "station": 0.3252, "examiner": 0.6475,
                   "student_station": 0.5596, "residual": 2.3802}  # fmt: skip
        assert found == pytest.approx(printed, abs=1.1e-4)

    def test_coefficients_with_three_tasks_and_four_raters(self):
        parts = nested_components(nested_mean_squares(NESTED), 10, 3, 4).components
        # gtheory 0.1.2, whose components come from lme4 and are good to about 2e-4.
        found = g_study(parts, Design(3, 4, shared=True))
        assert found.universe == pytest.approx(0.473023, abs=2e-4)
        assert found.relative_error == pytest.approx(0.384874, abs=2e-4)
        assert found.absolute_error == pytest.approx(0.547272, abs=2e-4)
        assert found.relative == pytest.approx(0.551375, abs=2e-4)
        assert found.absolute == pytest.approx(0.463614, abs=2e-4)
        assert found.sem_relative == pytest.approx(0.620382, abs=2e-4)
        assert found.sem_absolute == pytest.approx(0.739778, abs=2e-4)


class TestBrennanPersonsByItems:
    """Brennan 2001, pages 182 and 198: the same table as ten persons x twelve items."""

    def test_components(self):
        found = crossed_components(crossed_mean_squares(BRENNAN), 10, 12).components
        printed = {"student": 0.6258, "station": 0.8840, "residual": 2.7872}
        assert found == pytest.approx(printed, abs=5.1e-5)

    def test_coefficients_with_twelve_items(self):
        parts = crossed_components(crossed_mean_squares(BRENNAN), 10, 12).components
        found = g_study(parts, Design(12, shared=True))
        # Printed .729 and .672; exactly 1 - 2.7872/10.2963 for the first, from unrounded squares.
        assert found.relative == pytest.approx(0.729, abs=5e-4)
        assert found.absolute == pytest.approx(0.672, abs=5e-4)
        ms = crossed_mean_squares(BRENNAN).values
        assert found.relative == pytest.approx(1 - ms["residual"] / ms["student"], rel=1e-12)

    def test_restricted_likelihood_agrees(self):
        frame = long(BRENNAN).drop(columns="examiner")
        found = g_study(fit_variance(frame), Design(12, shared=True))
        assert found.relative == pytest.approx(0.7293, abs=1e-4)

    def test_more_examiners_promise_nothing_where_they_were_not_studied(self):
        parts = crossed_components(crossed_mean_squares(BRENNAN), 10, 12).components
        one, two = (g_study(parts, Design(12, k, shared=True)) for k in (1, 2))
        assert two.relative == one.relative
        assert any("gains from more examiners" in w for w in two.warnings)


class TestUnbalanced:
    def test_method_one(self):
        # generalizit 0.1.2 on the same cells.
        frame = brennan_unbalanced()
        effects = {"student": ("student",), "station": ("station",), "examiner": ("examiner",),
                   "student_station": ("student", "station")}  # fmt: skip
        found = method_one(frame, effects)
        printed = {"student": 0.5831, "station": 0.3830, "examiner": 0.6671,
                   "student_station": 0.5421, "residual": 2.3443}  # fmt: skip
        assert found.components == pytest.approx(printed, abs=6e-5)
        assert found.estimator == "Henderson's method 1"

    def test_estimators_are_named_apart(self):
        assert fit_variance(brennan_unbalanced()).estimator == "REML"

    def test_effects_that_are_the_same_are_refused(self):
        frame = long(BRENNAN)
        effects = {"station": ("station",), "examiner": ("examiner",)}
        with pytest.raises(UserError, match="effects that the table can separate"):
            method_one(frame, effects)


class TestPublishedClinicalSkills:
    """BMC Med Educ 2019, doi 10.1186/s12909-019-1594-y, table 1: 46 students, 4 occasions, 2
    raters each; published components 0.12 0.04 0.03 0.00 0.24, G 0.80, absolute SEM 0.21."""

    SQUARES = MeanSquares(
        {"student": 51.10, "station": 16.88, "examiner": 7.23, "student_station": 26.83,
         "residual": 42.48},
        {"student": 45, "station": 3, "examiner": 4, "student_station": 135, "residual": 180},
    )  # fmt: skip

    def test_negative_component_is_zero_and_named(self):
        found = nested_components(self.SQUARES, 46, 4, 2)
        assert found.negative == ("student_station",)
        assert found.raw["student_station"] == pytest.approx(-0.0186296, abs=1e-7)
        assert found.components["student_station"] == 0.0

    def test_other_components_use_mean_squares_as_they_are(self):
        found = nested_components(self.SQUARES, 46, 4, 2).components
        assert found["student"] == pytest.approx(0.1171019, abs=1e-6)
        assert found["station"] == pytest.approx(0.0419177, abs=1e-6)
        assert found["examiner"] == pytest.approx(0.0341630, abs=1e-6)

    def test_coefficients(self):
        parts = nested_components(self.SQUARES, 46, 4, 2).components
        found = g_study(parts, Design(4, 2, shared=True))
        assert found.relative == pytest.approx(0.798775, abs=1e-6)
        assert found.absolute == pytest.approx(0.725756, abs=1e-6)
        assert found.sem_absolute == pytest.approx(0.210356, abs=1e-6)


PARTS = {"student": 1.0, "station": 0.5, "examiner": 0.3, "student_station": 1.5, "residual": 0.6}


class TestProjection:
    def test_needed_is_the_first_that_reaches(self):
        design = Design(8)
        needed = stations_needed(PARTS, design, 0.8, absolute=True)
        at, before = (g_study(PARTS, Design(n)).absolute for n in (needed, needed - 1))
        assert before < 0.8 <= at

    def test_projection_row_equals_a_study_of_that_design(self):
        rows = g_study(PARTS, Design(8)).projection
        assert len(rows) == 60
        for row in rows:
            direct = g_study(PARTS, Design(row.stations, row.examiners))
            assert row.absolute == pytest.approx(direct.absolute)

    def test_examiners_who_follow_the_student_set_a_ceiling(self):
        parts = {**PARTS, "examiner": 0.5}
        found = g_study(parts, Design(8, fresh=False))
        assert found.needed_absolute is None
        assert "no number of such stations" in found.sentence

    @given(st.integers(1, 40), st.integers(1, 4))
    def test_more_stations_never_hurt(self, stations, examiners):
        one, two = (g_study(PARTS, Design(n, examiners)) for n in (stations, stations + 1))
        assert two.absolute > one.absolute
        assert two.relative >= two.absolute


class TestDecisions:
    def test_consistency_is_the_two_forms_normal(self):
        # scipy's bivariate normal as the outside check.
        from scipy.stats import multivariate_normal, norm

        found = decision_consistency(4.0, 1.0, 62.0, 60.0)
        h, rho = -2 / np.sqrt(5), 0.8
        both = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([h, h])
        assert found.consistency == pytest.approx(1 - 2 * norm.cdf(h) + 2 * both, abs=1e-6)

    def test_accuracy_is_true_with_observed(self):
        from scipy.stats import multivariate_normal, norm

        found = decision_consistency(4.0, 1.0, 62.0, 60.0)
        h, g, rho = -2 / np.sqrt(5), -2 / 2, np.sqrt(0.8)
        both = multivariate_normal([0, 0], [[1, rho], [rho, 1]]).cdf([h, g])
        expected = 1 - norm.cdf(h) - norm.cdf(g) + 2 * both
        assert found.accuracy == pytest.approx(expected, abs=1e-6)

    def test_no_error_means_every_decision_holds(self):
        found = decision_consistency(4.0, 0.0, 62.0, 60.0)
        assert (found.consistency, found.accuracy) == (1.0, 1.0)

    def test_phi_lambda_is_phi_at_the_mean(self):
        found = g_study(PARTS, Design(8), pass_mark=60.0, mean=60.0)
        assert found.decision.phi_lambda == pytest.approx(found.absolute)

    def test_pass_mark_without_a_mean_is_refused(self):
        with pytest.raises(UserError, match="the mean mark"):
            g_study(PARTS, Design(8), pass_mark=60.0)

    @settings(deadline=None)
    @given(st.floats(0.1, 9), st.floats(0.1, 9), st.floats(-5, 5))
    def test_chances_are_chances(self, universe, error, distance):
        found = decision_consistency(universe, error, 60 + distance, 60.0)
        assert 0.5 - 1e-9 <= found.consistency <= 1 + 1e-9
        assert found.accuracy >= found.consistency - 1e-9


class TestRefusals:
    @pytest.mark.parametrize(
        ("parts", "message"),
        [({"station": 1.0}, "a component student"), ({"student": -1.0}, "a variance of 0 or more"),
         ({"student": float("nan")}, "a variance of 0 or more")],
    )  # fmt: skip
    def test_components(self, parts, message):
        with pytest.raises(UserError, match=message):
            g_study(parts, Design(8))

    def test_no_stations(self):
        with pytest.raises(UserError, match="at least one station"):
            Design(0)

    def test_no_variance_between_students(self):
        found = g_study({**PARTS, "student": 0.0}, Design(8))
        assert found.absolute == 0.0
        assert found.needed is None

    def test_incomplete_table(self):
        with pytest.raises(UserError, match="a complete table"):
            crossed_mean_squares(np.array([[1.0, np.nan], [2.0, 3.0]]))


def test_warnings_of_the_fit_travel_with_the_coefficients():
    fitted = fit_variance(small_examination(0))
    assert set(fitted.warnings) <= set(g_study(fitted, Design(4, 2)).warnings)


@pytest.mark.long
def test_interval_of_the_coefficient_covers_in_95_of_100():
    """400 examinations, 48 students x 8 stations, one examiner each. The delta method is
    approximate: with a true cover of 0.95 the standard deviation of the count is 4.4, and a
    shortfall of three points in the method itself is allowed for, then four deviations."""
    rng = np.random.default_rng(21)
    truth = 1.0 / (1.0 + 2.0 / 8)
    covered = 0
    for _ in range(400):
        table = (rng.normal(0, 1.0, (48, 1)) + rng.normal(0, 0.7, (1, 8))
                 + rng.normal(0, np.sqrt(2.0), (48, 8)))  # fmt: skip
        student, station = np.indices(table.shape)
        frame = pd.DataFrame({"student": student.ravel(), "station": station.ravel(),
                              "score": table.ravel()})  # fmt: skip
        found = g_study(fit_variance(frame, intervals="none"), Design(8, shared=True))
        covered += found.relative_interval.low <= truth <= found.relative_interval.high
    assert 400 * 0.92 - 4 * 4.4 <= covered <= 400


class TestThreeWay:
    """Students x stations x examiners, all crossed."""

    table = np.random.default_rng(9).normal(0, 2, (12, 5, 4)) + (
        np.random.default_rng(10).normal(0, 4, (12, 1, 1))
        + np.random.default_rng(11).normal(0, 3, (1, 5, 1))
        + np.random.default_rng(12).normal(0, 2, (12, 5, 1))
    )

    def test_sums_of_squares_are_those_of_statsmodels(self):
        import statsmodels.api as sm
        from statsmodels.formula.api import ols

        at = np.indices(self.table.shape).reshape(3, -1)
        frame = pd.DataFrame({"y": self.table.ravel(), "p": at[0], "t": at[1], "r": at[2]})
        model = ols("y ~ C(p) + C(t) + C(r) + C(p):C(t) + C(p):C(r) + C(t):C(r)", frame).fit()
        theirs = sm.stats.anova_lm(model)
        ours = three_way_mean_squares(self.table)
        assert list(ours.sums.values()) == pytest.approx(theirs["sum_sq"].tolist())
        assert list(ours.freedom.values()) == theirs["df"].tolist()

    def test_components_equal_method_one_on_a_complete_table(self):
        # On complete tables Henderson's method 1 is the analysis of variance.
        at = np.indices(self.table.shape).reshape(3, -1)
        names = ("student", "station", "examiner")
        frame = pd.DataFrame({"score": self.table.ravel()} | dict(zip(names, at, strict=True)))
        effects = {n: (n,) for n in names} | {
            f"{a}_{b}": (a, b) for i, a in enumerate(names) for b in names[i + 1 :]
        }
        theirs = method_one(frame, effects).raw
        ours = three_way_components(three_way_mean_squares(self.table), 12, 5, 4).raw
        assert ours == pytest.approx(theirs)
