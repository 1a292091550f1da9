"""Pass marks against constructed cases worked with numpy and scipy, and published summaries."""

from __future__ import annotations

import numpy as np
import pytest

from sidewise.errors import UserError
from sidewise.teaching.pass_marks.borderline import (
    borderline_group,
    borderline_regression,
    contrasting_groups,
    curve_crossing,
    theoretical_errors,
)
from sidewise.teaching.pass_marks.decisions import Rule, student_results
from sidewise.teaching.pass_marks.examination_mark import examination_mark
from sidewise.teaching.pass_marks.judged import HofsteeBox, angoff_mark, hofstee_mark
from sidewise.teaching.tables.scores import Sheet

# Constructed cases (ours), worked with numpy and scipy; no student-level table was published.
TWENTY_MARKS = "8 10 11 12 13 14 14 15 16 17 17 18 19 20 21 22 12 15 18 16"
TWENTY_RATINGS = "0 1 0 1 1 1 2 2 2 2 3 2 3 3 4 4 0 1 3 2"
THIRTY_MARKS = (
    "45 48 50 52 54 55 56 57 58 59 60 61 62 63 64 65 66 67 68 69 70 71 72 73 74 76 78 80 84 90"
)
MARKS, RATINGS, HOFSTEE = (
    np.array(text.split(), dtype=float) for text in (TWENTY_MARKS, TWENTY_RATINGS, THIRTY_MARKS)
)
JUDGES = np.array(
    [[0.6, 0.7, 0.5, 0.8, 0.4], [0.5, 0.6, 0.6, 0.9, 0.3], [0.7, 0.8, 0.5, 0.7, 0.5],
     [0.6, 0.5, 0.4, 0.8, 0.4]],
)  # fmt: skip


def sheet_of(score: np.ndarray, rating: np.ndarray) -> Sheet:
    """Students by stations; names sort in the order given."""
    students = tuple(f"{i:05d}" for i in range(score.shape[0]))
    stations = tuple(f"t{j}" for j in range(score.shape[1]))
    return Sheet(students, stations, score, rating, np.zeros(score.shape, dtype=bool))


# ---------------------------------------------------------------- borderline regression


def test_borderline_regression_line() -> None:
    found = borderline_regression(MARKS, RATINGS, 1)
    assert found.intercept == pytest.approx(10.20315236, abs=5e-9)
    assert found.slope.value == pytest.approx(2.80910683, abs=5e-9)
    assert found.cut.value == pytest.approx(13.01225919, abs=5e-9)
    assert found.r_squared == pytest.approx(0.85079444, abs=5e-9)
    assert found.residual_sd == pytest.approx(1.48154634, abs=5e-9)


def test_borderline_regression_error() -> None:
    cut = borderline_regression(MARKS, RATINGS, 1).cut
    assert cut.se == pytest.approx(0.40656633, abs=5e-9)
    assert (cut.low, cut.high) == pytest.approx((12.158095, 13.866423), abs=5e-7)


def test_borderline_regression_failures() -> None:
    cut = borderline_regression(MARKS, RATINGS, 1).cut.value
    assert (cut > MARKS).sum() == 6


def test_negative_slope_gives_no_mark() -> None:
    found = borderline_regression(MARKS, RATINGS.max() - RATINGS, 1)
    assert not found.cut.known
    assert "slope not above zero" in found.warnings[0]


def test_nobody_borderline_is_said() -> None:
    keep = RATINGS != 1
    found = borderline_regression(MARKS[keep], RATINGS[keep], 1)
    assert found.cut.known
    assert found.warnings == (
        "Nobody was rated borderline: the pass mark is read off the line only.",
    )


def test_nobody_at_or_below_borderline_is_an_extrapolation() -> None:
    keep = RATINGS > 1
    found = borderline_regression(MARKS[keep], RATINGS[keep], 1)
    assert "extrapolation" in found.warnings[0]


def test_one_rating_gives_no_line() -> None:
    found = borderline_regression(MARKS, np.ones(20), 1)
    assert not found.cut.known
    assert "everyone has the same rating" in found.warnings[0]


# ---------------------------------------------------------------- bootstrap and delta


def test_bootstrap_of_one_station() -> None:
    # Reference: SE 0.465, percentile interval 12.06 to 13.88, Monte Carlo error 0.02 each; ours
    # has an error of its own (SE/sqrt(2 draws) = 0.007; centiles 0.03).
    found = examination_mark(sheet_of(MARKS[:, None], RATINGS[:, None]), 1).bootstrap
    assert found.se == pytest.approx(0.465, abs=0.03)
    assert (found.low, found.high) == pytest.approx((12.06, 13.88), abs=0.06)


def test_delta_and_bootstrap_agree() -> None:
    rng = np.random.default_rng(1)
    rating = rng.integers(0, 5, (300, 10)).astype(float)
    score = 40 + 8 * rating + rng.normal(0, 8, (300, 10)) + rng.normal(0, 4, (300, 1))
    found = examination_mark(sheet_of(score, rating), 1, draws=4000)
    # Monte Carlo error of an SE from 4,000 draws is 1.1%; three of them, and terms of order 1/n.
    assert found.bootstrap.se == pytest.approx(found.delta.se, rel=0.045)


def test_delta_interval_covers() -> None:
    # 400 cohorts of 60 students, 6 stations, students' own level in every station (so that errors
    # of stations hang together): 95% +/- 3.3% (three binomial errors).
    rng = np.random.default_rng(2)
    inside = 0
    for _ in range(400):
        rating = rng.integers(0, 5, (60, 6)).astype(float)
        score = 40 + 8 * rating + rng.normal(0, 8, (60, 6)) + rng.normal(0, 4, (60, 1))
        delta = examination_mark(sheet_of(score, rating), 1, draws=0).delta
        inside += delta.low <= 48 <= delta.high
    assert inside / 400 == pytest.approx(0.95, abs=0.033)


def test_error_of_a_large_cohort_is_as_published() -> None:
    # Homer M, Pell G, Fuller R, Patterson J, Med Teach 2016 (abstract): above 200 candidates the
    # error of the whole mark is under 0.5% and that of a station 1-2% (17 to 21 stations).
    rng = np.random.default_rng(4)
    rating = np.clip(np.rint(rng.normal(2.2, 1, (250, 18))), 0, 4)
    score = 38 + 11 * rating + rng.normal(0, 9, (250, 18)) + rng.normal(0, 3, (250, 1))
    found = examination_mark(sheet_of(score, rating), 1)
    assert found.bootstrap.se < 0.5
    assert 0.5 < np.median([s.se for s in found.station_bootstrap]) < 2


def test_no_draws_means_delta_only() -> None:
    found = examination_mark(sheet_of(MARKS[:, None], RATINGS[:, None]), 1, draws=0)
    assert found.bootstrap.se is None
    assert found.best is found.delta


def test_a_station_without_a_line_is_left_out_and_named() -> None:
    score = np.column_stack([MARKS, MARKS[::-1]])
    rating = np.column_stack([RATINGS, RATINGS])
    found = examination_mark(sheet_of(score, rating), 1)
    assert found.left_out == ("t1",)
    assert "t1; left out of the mean" in found.warnings[0]


# ---------------------------------------------------------------- other methods


def test_borderline_group() -> None:
    found = borderline_group(MARKS, RATINGS, 1)
    assert (found.cut.value, found.median, found.n) == (pytest.approx(12.8), 13.0, 5)


def test_borderline_group_without_members() -> None:
    found = borderline_group(MARKS, np.full(20, 3.0), 1)
    assert not found.cut.known
    assert "Nobody was rated borderline" in found.warnings[0]


def test_contrasting_groups_of_equal_size() -> None:
    cut = curve_crossing(50, 10, 70, 8)
    assert cut == pytest.approx(60.22732405, abs=5e-9)
    rates = theoretical_errors(cut, 50, 10, 70, 8)
    assert rates.false_pass == pytest.approx(0.15321719, abs=5e-9)
    assert rates.false_fail == pytest.approx(0.11093240, abs=5e-9)


def test_contrasting_groups_by_size() -> None:
    assert curve_crossing(50, 10, 70, 8, 90 / 30) == pytest.approx(56.10592185, abs=5e-9)


def test_contrasting_groups_of_equal_spread_meet_half_way() -> None:
    assert curve_crossing(50, 9, 70, 9) == pytest.approx(60)


def test_contrasting_groups_must_stand_apart() -> None:
    found = contrasting_groups(MARKS, RATINGS.max() - RATINGS, 2)
    assert np.isnan(found.cut)
    assert "do not stand apart" in found.warnings[0]


def test_angoff() -> None:
    found = angoff_mark(JUDGES)
    assert found.judge_sums == pytest.approx([3.0, 2.9, 3.2, 2.7])
    assert (found.cut, found.percent) == pytest.approx((2.95, 59))
    assert found.sd == pytest.approx(0.20816660, abs=5e-9)
    assert found.se == pytest.approx(0.10408330, abs=5e-9)


def test_angoff_refuses_percent() -> None:
    with pytest.raises(UserError, match="shares from 0 to 1"):
        angoff_mark(JUDGES * 100)


def test_hofstee_step_curve() -> None:
    found = hofstee_mark(HOFSTEE, HofsteeBox(50, 66, 0.04, 0.40))
    assert found.cut == 57
    assert found.fails == pytest.approx(7 / 30)


def test_hofstee_smooth_curve() -> None:
    found = hofstee_mark(HOFSTEE, HofsteeBox(50, 66, 0.04, 0.40))
    assert found.cut_smooth == pytest.approx(57.16417910, abs=5e-9)


def test_hofstee_outside_the_box_has_no_answer() -> None:
    found = hofstee_mark(HOFSTEE, HofsteeBox(80, 85, 0.01, 0.05))
    assert np.isnan(found.cut)
    assert "inside their limits" in found.warnings[0]


def test_hofstee_limits_are_checked() -> None:
    with pytest.raises(UserError, match="lowest must be under"):
        HofsteeBox(66, 50, 0.04, 0.4)


# ---------------------------------------------------------------- students near the mark


def one_student(score: list[float], critical: bool = False) -> Sheet:
    shape = (1, len(score))
    names = tuple(f"t{j}" for j in range(len(score)))
    flags = np.zeros(shape, dtype=bool)
    flags[0, 0] = critical
    return Sheet(("S1",), names, np.array([score]), np.full(shape, 2.0), flags)


RULE = Rule(mark=50, mark_se=1, sem=3)


def test_a_critical_error_is_never_averaged_away() -> None:
    found = student_results(one_student([99, 98, 97], critical=True), RULE, {})[0]
    assert (found.decision, found.by_marks, found.critical_at) == ("held", "pass", ("t0",))


def test_a_missing_station_gives_no_decision() -> None:
    found = student_results(one_student([99, np.nan, 97]), RULE, {})[0]
    assert (found.decision, found.missing_at) == ("incomplete", ("t1",))
    assert not found.near


def test_too_few_stations_passed_fails() -> None:
    rule = Rule(mark=50, mark_se=1, sem=3, stations=2)
    cuts = {"t0": 60.0, "t1": 60.0, "t2": 60.0}
    found = student_results(one_student([99, 40, 41]), rule, cuts)[0]
    assert (found.decision, found.by_marks, found.stations_passed) == ("fail", "pass", 1)


@pytest.mark.parametrize(("total", "decision"), [(49.9, "fail"), (50.0, "pass"), (50.1, "pass")])
def test_the_mark_itself_passes(total: float, decision: str) -> None:
    assert student_results(one_student([total]), RULE, {})[0].decision == decision


def test_pull_is_the_mark_less_the_mark_without_the_student() -> None:
    rng = np.random.default_rng(12)
    rating = rng.integers(0, 5, (14, 3)).astype(float)
    score = 40 + 8 * rating + rng.normal(0, 6, (14, 3))
    table = sheet_of(score, rating)
    # Names out of order: what is sorted inside must come back in the order of the sheet.
    table = Sheet(table.students[::-1], table.stations, score, rating, table.critical)
    found = examination_mark(table, 1, draws=0)
    for i in (0, 5, 13):
        keep = np.arange(14) != i
        without = examination_mark(sheet_of(score[keep], rating[keep]), 1, draws=0)
        assert found.pull[i] == pytest.approx(found.value - without.value)
