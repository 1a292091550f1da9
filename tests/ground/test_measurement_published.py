"""Intraclass correlation, limits of agreement and alpha against published examples."""

from __future__ import annotations

import numpy as np
import pytest

from sidewise.errors import UserError
from sidewise.ground.agreement.intraclass import reading_reliability
from sidewise.ground.agreement.limits import corrected_sd, limits_of_agreement, repeatability
from sidewise.ground.agreement.repeated_limits import limits_with_repeats
from sidewise.ground.agreement.two_way import two_way_reml
from sidewise.ground.interval import Z95
from sidewise.teaching.reliability.consistency import consistency, correlation_interval

# Shrout PE, Fleiss JL, Psychol Bull 1979;86:420-428: six targets, four judges.
JUDGES = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]],
    dtype=float,
)
# psych 2.2.9; published .17 .29 .71 .44 .62 .91.
FORMS = {
    "1,1": (0.165742, -0.1329323, 0.722560),
    "2,1": (0.289764, 0.0187865, 0.761084),
    "3,1": (0.714841, 0.3424648, 0.945858),
    "1,k": (0.442797, -0.8844422, 0.912415),
    "2,k": (0.620051, 0.0711368, 0.927232),
    "3,k": (0.909316, 0.6756747, 0.985892),
}

# Bland JM, Altman DG, Lancet 1986;i:307-310 (equal to MethComp::PEFR).
WRIGHT_1 = "494 395 516 434 476 557 413 442 650 433 417 656 267 478 178 423 427"
WRIGHT_2 = "490 397 512 401 470 611 415 431 638 429 420 633 275 492 165 372 421"
MINI_1 = "512 430 520 428 500 600 364 380 658 445 432 626 260 477 259 350 451"
MINI_2 = "525 415 508 444 500 625 460 390 642 432 420 605 227 467 268 370 443"
W1, W2, M1, M2 = (np.array(s.split(), dtype=float) for s in (WRIGHT_1, WRIGHT_2, MINI_1, MINI_2))


@pytest.mark.parametrize("form", list(FORMS))
def test_shrout_and_fleiss(form: str) -> None:
    found = reading_reliability(JUDGES).forms[form]
    assert (found.value, found.low, found.high) == pytest.approx(FORMS[form], abs=6e-7)


def test_shrout_and_fleiss_f_ratios() -> None:
    forms = reading_reliability(JUDGES).forms
    assert (forms["1,1"].f, forms["1,1"].df1, forms["1,1"].df2) == (
        pytest.approx(1.79468, abs=5e-6), 5, 18,
    )  # fmt: skip
    assert (forms["3,1"].f, forms["3,1"].df2) == (pytest.approx(11.02725, abs=5e-6), 15)


def test_error_of_measurement_from_the_same_squares() -> None:
    # Residual mean square 15.292/15; judges' component (97.458/3 - 15.292/15)/6.
    found = reading_reliability(JUDGES)
    residual, judges = 15.292 / 15, (97.458 / 3 - 15.292 / 15) / 6
    assert found.sem == pytest.approx(np.sqrt(residual), abs=1e-4)
    assert found.sem_agreement == pytest.approx(np.sqrt(residual + judges), abs=1e-4)
    assert found.mdc95 == pytest.approx(Z95 * np.sqrt(2) * found.sem_agreement)


def test_reml_equals_mean_squares_when_complete() -> None:
    fit, squares = two_way_reml(JUDGES), reading_reliability(JUDGES)
    assert fit.between_subjects == pytest.approx(squares.between_subjects, rel=1e-4)
    assert fit.between_raters == pytest.approx(squares.between_raters, rel=1e-4)
    assert fit.residual == pytest.approx(squares.residual, rel=1e-4)


def test_reml_criterion_of_a_complete_table_in_closed_form() -> None:
    # Balanced two-way layout: -2 log REML at the optimum is the sum over strata of df * log(mean
    # square) + log(n k) + (n k - 1)(1 + log 2 pi) (Searle, Casella & McCulloch, Variance
    # Components, 1992, from memory; holds because the stratum of the mean cancels).
    n, k = JUDGES.shape
    logs = (n - 1) * (k - 1) * np.log(15.2916667 / 15) + (n - 1) * np.log(56.2083333 / 5)
    logs += (k - 1) * np.log(97.4583333 / 3) + np.log(n * k)
    expected = logs + (n * k - 1) * (1 + np.log(2 * np.pi))
    assert two_way_reml(JUDGES).criterion == pytest.approx(expected, abs=2e-6)


def test_a_missing_cell_keeps_its_target() -> None:
    # Listwise deletion gives 0.359768 and 0.746988 (pingouin 0.6.1).
    table = JUDGES.copy()
    table[0, 3] = np.nan
    found = reading_reliability(table)
    assert found.subjects == 6
    assert set(found.forms) == {"2,1", "3,1"}
    assert abs(found.forms["2,1"].value - 0.359768) > 0.02
    assert abs(found.forms["3,1"].value - 0.746988) > 0.02


def test_missing_cell_equals_another_reml() -> None:
    # statsmodels' dense mixed model with both factors as variance components of one group.
    import pandas as pd
    import statsmodels.formula.api as smf

    table = JUDGES.copy()
    table[0, 3] = np.nan
    long = pd.DataFrame(
        [(str(i), str(j), v) for (i, j), v in np.ndenumerate(table) if not np.isnan(v)],
        columns=["target", "judge", "y"],
    )
    parts = {"target": "0 + C(target)", "judge": "0 + C(judge)"}
    model = smf.mixedlm("y ~ 1", long, groups=np.ones(len(long)), vc_formula=parts)
    theirs = model.fit(reml=True, method="lbfgs")
    found = reading_reliability(table)
    subjects = theirs.vcomp[list(model.exog_vc.names).index("target")]
    raters = theirs.vcomp[list(model.exog_vc.names).index("judge")]
    assert found.between_subjects == pytest.approx(subjects, rel=2e-3)
    assert found.between_raters == pytest.approx(raters, rel=2e-3)
    assert found.residual == pytest.approx(theirs.scale, rel=2e-3)


@pytest.mark.long
def test_reml_interval_covers() -> None:
    # 200 tables of 25 subjects by 5 raters with 10% of cells lost; true single-rater consistency
    # 0.6. Coverage of a right 95% interval lies in 0.92 to 0.98 (three binomial errors: 0.046).
    rng = np.random.default_rng(11)
    inside = 0
    for _ in range(200):
        x = rng.normal(0, 1, (25, 1)) + rng.normal(0, 0.5, (1, 5))
        x = x + rng.normal(0, np.sqrt(2 / 3), (25, 5))
        x[rng.random(x.shape) < 0.1] = np.nan
        form = reading_reliability(x).forms["3,1"]
        inside += form.low <= 0.6 <= form.high
    assert 0.95 - 0.046 <= inside / 200 <= 0.95 + 0.046


def test_one_rater_is_refused() -> None:
    with pytest.raises(UserError, match="two of each"):
        reading_reliability(np.ones((5, 1)))


# ---------------------------------------------------------------- limits of agreement


def test_bland_altman_1986_difference() -> None:
    found = limits_of_agreement(W1, M1)
    assert found.mean.value == pytest.approx(-2.117647, abs=5e-7)
    assert found.sd == pytest.approx(38.765130, abs=5e-7)
    assert found.mean.se == pytest.approx(9.401925, abs=5e-7)
    assert (found.mean.low, found.mean.high) == pytest.approx((-22.04884, 17.81354), abs=5e-6)


def test_bland_altman_1986_limits() -> None:
    found = limits_of_agreement(W1, M1, z=2.0)
    ends = (found.lower.value, found.upper.value)
    assert ends == pytest.approx((-79.647907, 75.412613), abs=5e-7)
    # The paper rounds as it goes: 0.3 against its printed values.
    assert ends == pytest.approx((-79.7, 75.5), abs=0.3)


def test_bland_altman_1986_limits_of_the_limits() -> None:
    found = limits_of_agreement(W1, M1, z=2.0)
    assert found.lower_1986.se == pytest.approx(16.28461, abs=5e-6)
    low, high = found.lower_1986, found.upper_1986
    assert (low.low, low.high) == pytest.approx((-114.1697, -45.12607), abs=5e-5)
    assert (high.low, high.high) == pytest.approx((40.89078, 109.9344), abs=5e-5)


def test_bland_altman_196_limits() -> None:
    found = limits_of_agreement(W1, M1, z=1.96)
    ends = (found.lower.value, found.upper.value)
    assert ends == pytest.approx((-78.097302, 73.862007), abs=5e-7)


def test_bland_altman_1986_repeatability() -> None:
    assert repeatability(W1, W2) == pytest.approx(43.29380, abs=5e-6)
    assert repeatability(M1, M2) == pytest.approx(56.31633, abs=5e-6)


def test_bland_altman_1986_means_of_two_readings() -> None:
    means = (W1 + W2) / 2 - (M1 + M2) / 2
    assert means.mean() == pytest.approx(-6.029412, abs=5e-7)
    assert means.std(ddof=1) == pytest.approx(33.20414, abs=5e-6)
    assert corrected_sd(means, W1 - W2, M1 - M2) == pytest.approx(37.8008, abs=5e-5)


def test_exact_limits_cover_the_true_limit() -> None:
    # 4,000 samples of 10 from N(0, 1): an exact 95% interval covers 1.96 in 95% +/- 1.03%
    # (three binomial errors); the approximate one of 1986 does not reach it.
    rng = np.random.default_rng(3)
    exact = 0
    for _ in range(4000):
        d = rng.normal(size=10)
        found = limits_of_agreement(d, np.zeros(10))
        exact += found.upper.low <= 1.959964 <= found.upper.high
    assert exact / 4000 == pytest.approx(0.95, abs=0.0103)


# ---------------------------------------------------------------- internal consistency

# R's attitude data (Chatterjee S, Price B, Regression Analysis by Example), 30 departments.
ATTITUDE = """43 51 30 39 61 92 45/63 64 51 54 63 73 47/71 70 68 69 76 86 48/61 63 45 47 54 84 35
81 78 56 66 71 83 47/43 55 49 44 54 49 34/58 67 42 56 66 68 35/71 75 50 55 70 66 41
72 82 72 67 71 83 31/67 61 45 47 62 80 41/64 53 53 58 58 67 34/67 60 47 39 59 74 41
69 62 57 42 55 63 25/68 83 83 45 59 77 35/77 77 54 72 79 77 46/81 90 50 72 60 54 36
74 85 64 69 79 79 63/65 60 65 75 55 80 60/65 70 46 57 75 85 46/50 58 68 54 64 78 52
50 40 33 34 43 64 33/64 61 52 62 66 80 41/53 66 52 50 63 80 37/40 37 42 58 50 57 49
63 54 42 48 66 75 33/66 77 66 63 88 76 72/78 75 58 74 80 78 49/48 57 44 45 51 83 38
85 85 71 71 77 74 55/82 82 39 59 64 78 39"""
DEPARTMENTS = np.array(
    [row.split() for line in ATTITUDE.splitlines() for row in line.split("/")], dtype=float
)


def test_alpha_of_the_attitude_data() -> None:
    # psych 2.2.9.
    found = consistency(DEPARTMENTS)
    assert found.alpha.value == pytest.approx(0.843143, abs=5e-7)
    assert found.standardised == pytest.approx(0.839084, abs=5e-7)
    assert found.alpha.se == pytest.approx(0.042436, abs=5e-7)
    assert found.mean_correlation == pytest.approx(0.426907, abs=5e-7)
    assert (found.alpha.low, found.alpha.high) == pytest.approx((0.74, 0.92), abs=6e-3)


def test_alpha_without_each_item() -> None:
    found = consistency(DEPARTMENTS).alpha_if_deleted
    expected = [0.8098, 0.7969, 0.8278, 0.8030, 0.7954, 0.8639, 0.8405]
    assert found == pytest.approx(expected, abs=5.1e-5)


def test_corrected_item_total_correlations() -> None:
    found = consistency(DEPARTMENTS).item_rest
    expected = [0.67126, 0.74211, 0.56071, 0.71445, 0.78628, 0.26503, 0.46081]
    assert found == pytest.approx(expected, abs=5.1e-6)


def test_alpha_equals_consistency_icc() -> None:
    found = consistency(JUDGES).alpha
    assert found.value == pytest.approx(0.9093155, abs=5e-8)
    assert (found.low, found.high) == pytest.approx((0.676, 0.986), abs=5e-4)


def test_alpha_needs_spread() -> None:
    assert not consistency(np.ones((10, 4))).alpha.known


def test_correlation_interval_by_hand() -> None:
    # Fisher: tanh(atanh(0.5) -/+ 1.96/sqrt(25)) for n = 28.
    found = correlation_interval(0.5, 28)
    expected = np.tanh(np.arctanh(0.5) + np.array([-1, 1]) * 1.959963984540054 / 5)
    assert (found.low, found.high) == pytest.approx(tuple(expected))


def test_bland_altman_1986_as_printed() -> None:
    # Printed: limits -79.7 and 75.5; bias -22.0 to 17.8 (t = 2.12), lower limit -114.3 to -45.1,
    # upper 40.9 to 110.1. The paper rounds its standard errors (9.4, 16.3) before it multiplies.
    found = limits_of_agreement(W1, M1, z=2)
    assert (found.lower.value, found.upper.value) == pytest.approx((-79.7, 75.5), abs=0.11)
    assert (found.mean.low, found.mean.high) == pytest.approx((-22.0, 17.8), abs=0.15)
    lower, upper = found.lower_1986, found.upper_1986
    assert (lower.low, lower.high) == pytest.approx((-114.3, -45.1), abs=0.4)
    assert (upper.low, upper.high) == pytest.approx((40.9, 110.1), abs=0.4)
    assert found.sem == pytest.approx(38.765130 / 2**0.5)


def test_limits_of_lists_of_different_length_are_refused() -> None:
    with pytest.raises(UserError, match="two lists of equal length"):
        limits_of_agreement(np.ones(3), np.ones(2))


# ---------------------------------------------------------------- limits with repeated readings


def test_limits_with_repeats_of_the_peak_flow_data() -> None:
    # Bland and Altman 1986: differences of means of two, mean -6.03 and SD 33.2; corrected 37.7
    # there with the readings' own mean change taken out, by hand here with it left in.
    w, m = np.column_stack([W1, W2]), np.column_stack([M1, M2])
    found = limits_with_repeats(w, m)
    apart = (w - m).mean(axis=1)
    within = [((a - b) ** 2).mean() / 2 for a, b in ((W1, W2), (M1, M2))]
    assert found.mean.value == pytest.approx(-6.029412, abs=5e-7)
    assert found.sd == pytest.approx(np.sqrt(apart.var(ddof=1) + sum(within) / 2))
    assert found.sd == pytest.approx(37.8, abs=0.3)
    assert found.upper.value == pytest.approx(found.mean.value + 1.959964 * found.sd, abs=1e-4)
    assert found.within_first == pytest.approx(within[0] ** 0.5)


def test_limits_with_repeats_that_never_differ_are_those_of_single_readings() -> None:
    rng = np.random.default_rng(4)
    a, b = rng.normal(50, 9, 40), rng.normal(52, 9, 40)
    twice = limits_with_repeats(np.column_stack([a, a]), np.column_stack([b, b]))
    once = limits_of_agreement(a, b)
    assert twice.sd == pytest.approx(once.sd)
    assert twice.lower.value == pytest.approx(once.lower.value)


def test_limits_with_uneven_repeats_cover_the_truth() -> None:
    # 600 samples of 30 subjects read one to four times: SD of single differences sqrt(9 + 16 + 25)
    # by construction; 95% intervals of the upper limit cover in 95 -/+ 2 of 100 (3 standard errors
    # of 0.9; the method is an approximation).
    rng = np.random.default_rng(8)
    true = 2 + 1.959964 * np.sqrt(9 + 16 + 25)
    inside = []
    for _ in range(600):
        level, lean = rng.normal(100, 15, 30), rng.normal(2, 3, 30)
        first = (level + lean)[:, None] + rng.normal(0, 4, (30, 4))
        second = level[:, None] + rng.normal(0, 5, (30, 4))
        for table in (first, second):
            many = rng.integers(1, 5, 30)
            table[np.arange(4) >= many[:, None]] = np.nan
        found = limits_with_repeats(first, second).upper
        assert found.low is not None
        assert found.high is not None
        inside.append(found.low <= true <= found.high)
    assert np.mean(inside) == pytest.approx(0.95, abs=0.027)


def test_limits_with_repeats_need_somebody_read_twice() -> None:
    once = np.arange(6.0)[:, None]
    with pytest.raises(UserError, match="somebody read twice"):
        limits_with_repeats(once, once + 1)
