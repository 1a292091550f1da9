"""Decisions by every rule in force, and the chance that the other would be right."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from scipy.stats import beta

from sidewise.teaching.pass_marks.decision_chances import (
    CutDraws,
    DecisionChances,
    decision_chances,
)
from sidewise.teaching.pass_marks.decisions import Rule, below_text, student_results
from sidewise.teaching.pass_marks.minimum_stations import minimum_stations
from sidewise.teaching.pass_marks.sequential import recall_forecast
from sidewise.teaching.pass_marks.true_scores import TrueScores, _shares_of_error, true_scores
from sidewise.teaching.reliability.variance_components import VarianceComponents, fit_variance
from sidewise.teaching.tables.scores import Sheet
from tests.teaching.pass_marks.simulated_sittings import by_tenth, joined, one_round, proved

RULE = Rule(mark=50, mark_se=1, sem=3, method="borderline regression")


def sheet(score: np.ndarray, critical: bool = False) -> Sheet:
    flags = np.zeros(score.shape, dtype=bool)
    flags[0, 0] = critical
    students = tuple(f"S{i}" for i in range(score.shape[0]))
    stations = tuple(f"t{j}" for j in range(score.shape[1]))
    return Sheet(students, stations, score, np.full(score.shape, 2.0), flags)


def chances(passing: float, again: float = 0.5) -> DecisionChances:
    return DecisionChances(np.array([passing]), np.array([again]))


ONE = np.array([[99.0, 40.0, 41.0]])
CUTS = {"t0": 60.0, "t1": 60.0, "t2": 60.0}


# ---------------------------------------------------------------- rules


def test_the_rule_that_failed_is_the_reason() -> None:
    found = student_results(sheet(ONE), Rule(50, 1, 3, stations=2), CUTS)[0]
    assert (found.by_marks, found.decision) == ("pass", "fail")
    assert found.reasons == ("1 stations passed, 2 needed",)


def test_both_rules_are_named_when_both_fail() -> None:
    found = student_results(sheet(ONE - 20), Rule(50, 1, 3, stations=2), CUTS)[0]
    assert found.reasons == ("total 40.0 below 50.0", "1 stations passed, 2 needed")


def test_the_chance_is_of_all_rules_and_not_of_the_total() -> None:
    # Passing is right with probability 0.3 by all rules together: the fail is other with 0.3.
    found = student_results(sheet(ONE), Rule(50, 1, 3, stations=2), CUTS, chances(0.3))[0]
    assert found.other == pytest.approx(0.3)
    assert student_results(sheet(ONE), RULE, CUTS, chances(0.3))[0].other == pytest.approx(0.7)


def test_near_is_above_ten_percent() -> None:
    near, at = (student_results(sheet(ONE), RULE, {}, chances(1 - p))[0].near for p in (0.101, 0.1))
    assert near
    assert not at


def test_a_critical_error_fails_where_the_rules_say_so() -> None:
    rule = Rule(50, 1, 3, critical="fail")
    found = student_results(sheet(ONE, critical=True), rule, {}, chances(0.9))[0]
    assert (found.decision, found.reasons[0]) == ("fail", "critical error at t0")
    assert not found.near


def test_an_unsure_decision_is_held_only_where_the_rules_say_so() -> None:
    held = student_results(sheet(ONE), Rule(50, 1, 3, look_again=0.3), {}, chances(0.69))[0]
    kept = student_results(sheet(ONE), Rule(50, 1, 3, look_again=0.3), {}, chances(0.705))[0]
    assert (held.decision, kept.decision) == ("held", "pass")
    assert held.reasons == ("pass by the rules, but 31% for the other decision",)


def test_every_rule_in_force_is_named() -> None:
    rule = Rule(50, 1, 3, 3.0, 5, 0.1, "fail", 0.3, "borderline regression")
    assert rule.in_force(8) == (
        "total at or above 53.0 (borderline regression), 3.0 of it for the error of measurement",
        "at least 5 of 8 stations passed",
        "a critical error fails",
        "held when the other decision has a chance above 30%",
        "a station without marks: no decision",
    )


# ---------------------------------------------------------------- true scores


def long(score: np.ndarray, examiner: np.ndarray | None = None) -> pd.DataFrame:
    stations = score.shape[1]
    student, station = np.divmod(np.arange(score.size), stations)
    who = station if examiner is None else examiner.ravel()
    return pd.DataFrame({
        "student": [f"S{i}" for i in student], "station": [f"t{j}" for j in station],
        "examiner": [f"e{k}" for k in who], "session": "1", "score": score.ravel(),
    })  # fmt: skip


def cohort(students: int, stations: int, seed: int) -> np.ndarray:
    rng = np.random.default_rng(seed)
    level = 60 + rng.normal(0, 8, (students, 1)) + rng.normal(0, 4, stations)
    return level + rng.normal(0, 10, (students, stations))


def test_a_large_cohort_shrinks_by_kelleys_formula() -> None:
    # Kelley TL, 1923 (formula from memory): true = r * total + (1 - r) * mean. Over draws of the
    # variances r varies by 2% (its own standard error with 800 students), so totals 20 points from
    # the mean move by 0.4 at most; the mean of draws by a tenth of that.
    score = cohort(800, 8, 1)
    components = fit_variance(long(score), intervals="wald")
    v, w = components.components["student"], components.components["residual"]
    found = true_scores(long(score), components)
    gap = score.mean(axis=1) - score.mean()
    assert found.mean == pytest.approx(v / (v + w / 8) * gap, abs=0.15)
    assert found.sd.mean() == pytest.approx(np.sqrt(v * (w / 8) / (v + w / 8)), rel=0.03)


def test_posterior_equals_that_of_the_whole_covariance_matrix() -> None:
    # Direct: theta | y of a multivariate normal with flat stations (precision 1e-8 as there).
    rng = np.random.default_rng(3)
    score = cohort(7, 4, 2)
    examiner = rng.integers(0, 5, score.shape)
    table = long(score, examiner)
    found = true_scores(table, fit_variance(table, intervals="wald"), seed=4)
    d = 5
    v, w, u = found.between[d], found.rest[d], found.examiner[d]
    z = np.kron(np.eye(7), np.ones((4, 1)))
    x = np.tile(np.eye(4), (7, 1))
    e = np.eye(5)[examiner.ravel()]
    total = v * z @ z.T + w * np.eye(28) + max(u, 1e-6) * e @ e.T + 1e8 * x @ x.T
    total += max(found.session[d], 1e-6) * np.ones((28, 28))
    # The score: student's part and the mean of all crossed effects over the cells.
    s = np.ones((28, 1))
    own = v * z.T + np.ones((7, 28)) @ (total - v * z @ z.T - w * np.eye(28)) / 28
    gain = own @ np.linalg.inv(total)
    level = float((s.T @ (total - v * z @ z.T - w * np.eye(28)) @ s).item()) / 28**2
    # The largest terms are 1e8: an inverse in double precision leaves some 1e-4 of a point.
    expected = gain @ score.ravel() - score.mean()
    assert found.centre[d] == pytest.approx(expected, abs=1e-3)
    spread = np.sqrt(np.diag(v * np.eye(7) + level - gain @ own.T))
    assert found.sd[d] == pytest.approx(spread, abs=1e-2)


# Size of a beta distribution with mean 0.34 and standard deviation 0.15.
BETA = 0.34 * 0.66 / 0.15**2 - 1


def test_shares_of_error_without_students_are_the_published_reliabilities() -> None:
    # Nothing seen (df 0, ratio near 0): mean 0.66 and standard deviation 0.15 of reliability.
    # 20,000 draws: standard errors of 0.001 and 0.0008.
    drawn = _shares_of_error(np.full(20_000, 1e-6), 0, np.random.default_rng(6))
    assert 1 - drawn.mean() == pytest.approx(0.66, abs=0.004)
    assert drawn.std() == pytest.approx(0.15, abs=0.004)


def test_shares_of_error_have_the_density_they_claim() -> None:
    # p(B) ~ B^(df/2) exp(-B ratio/2), times a beta of mean 1 - 0.66 and standard deviation 0.15,
    # the published reliabilities; on 0 to 1, integrated numerically; 20,000 draws.
    df, ratio = 11, 14.0
    drawn = _shares_of_error(np.full(20_000, ratio), df, np.random.default_rng(5))
    grid = np.linspace(0, 1, 20_001)[1:]
    prior = beta.pdf(grid, 0.34 * BETA, 0.66 * BETA)
    density = grid ** (df / 2) * np.exp(-grid * ratio / 2) * prior
    distribution = np.cumsum(density) / density.sum()
    distance = np.abs(np.searchsorted(np.sort(drawn), grid) / drawn.size - distribution).max()
    # Kolmogorov's 99.9% point is 1.95 / sqrt(n).
    assert distance < 1.95 / np.sqrt(drawn.size)


# ---------------------------------------------------------------- chances


def known(centre: np.ndarray, sd: float, rest: float = 100.0) -> TrueScores:
    one = np.ones(1)
    names = tuple(f"S{i}" for i in range(centre.size))
    return TrueScores(names, centre[None, :], np.full((1, centre.size), sd), one, rest * one,
                      0 * one, 0 * one)  # fmt: skip


def flat_sheet(centre: np.ndarray, stations: int, level: float = 60.0) -> Sheet:
    return sheet(np.repeat((level + centre)[:, None], stations, axis=1))


def test_one_rule_gives_the_normal_probability() -> None:
    centre = np.array([-6.0, -1.0, 0.0, 2.5, 8.0])
    cuts = CutDraws(np.full(200, 58.0), np.full((200, 6), np.nan))
    found = decision_chances(flat_sheet(centre, 6), known(centre, 3.0), cuts, 0)
    assert found.right == pytest.approx(stats.norm.cdf((centre + 2) / 3), abs=1e-12)


def test_a_second_sitting_adds_its_own_error() -> None:
    # Error of a total over six stations of variance 100: 100/6; Monte Carlo of 60,000 examinations
    # and 41 points: under 0.01.
    centre = np.array([-6.0, -1.0, 0.0, 2.5, 8.0])
    table = flat_sheet(centre, 6)
    cuts = CutDraws(np.full(200, 58.0), np.full((200, 6), np.nan))
    found = decision_chances(table, known(centre, 3.0), cuts, 0)
    expected = stats.norm.cdf((centre + 2) / np.sqrt(9 + 100 / 6))
    assert found.again == pytest.approx(expected, abs=0.01)


def test_a_minimum_of_stations_alone_is_a_binomial_count() -> None:
    # Mark far below: only the count decides. Each station is passed with probability
    # Phi((theta + 2)/10), so the second sitting passes with the binomial tail; sd nearly 0.
    centre = np.array([-6.0, 0.0, 6.0])
    table = flat_sheet(centre, 6)
    cuts = CutDraws(np.full(200, 0.0), np.full((200, 6), 58.0))
    found = decision_chances(table, known(centre, 1e-3), cuts, 4)
    each = stats.norm.cdf((centre + 2) / 10)
    # 60,000 examinations: 0.002; the 41 points that carry their distribution on: half of 1/41.
    assert found.again == pytest.approx(stats.binom.sf(3, 6, each), abs=0.02)


def test_more_stations_asked_never_help() -> None:
    centre = np.linspace(-12, 12, 9)
    cuts = CutDraws(np.full(200, 58.0), np.full((200, 6), 58.0))
    rows = [
        decision_chances(flat_sheet(centre, 6), known(centre, 3.0), cuts, k).right for k in range(7)
    ]
    # The same errors are drawn for every minimum; without one nothing is drawn. The median of 300
    # has an error of 0.3 points, 0.02 over 200 pass marks: 0.003 of a probability at most.
    assert all((a >= b).all() for a, b in pairwise(rows[1:]))
    assert (rows[0] >= rows[1] - 0.01).all()
    assert len(rows) == 7


def test_more_stations_than_have_a_mark_pass_nobody() -> None:
    cuts = CutDraws(np.full(200, 10.0), np.full((200, 3), np.nan))
    found = decision_chances(flat_sheet(np.zeros(2), 3), known(np.zeros(2), 3.0), cuts, 1)
    assert found.right.tolist() == found.again.tolist() == [0.0, 0.0]


def test_errors_of_stations_marks_do_not_count_twice() -> None:
    # Eight stations whose true marks lie equally far above their levels; one cohort's lines err by
    # 4 points. The right border then is that of equal distances, seen by more draws than there are
    # stations; with the errors left in, the sixth lowest of eight lies clearly higher.
    rng = np.random.default_rng(21)
    score = cohort(40, 8, 22)
    table, centre = sheet(score), score.mean(axis=1) - score.mean()
    levels = score.mean(axis=0)
    found = levels - 12 + rng.normal(0, 4, 8)
    drawn = found + rng.normal(0, 4, (200, 8))
    # The draws' mean is the cohort's own, so that only the distances between stations differ.
    drawn += (levels - 12).mean() - drawn.mean(axis=1, keepdims=True)
    cuts = CutDraws(drawn.mean(axis=1), drawn)
    true = CutDraws(drawn.mean(axis=1), np.tile(levels - 12, (200, 1)))
    scores = known(centre, 2.0)
    seen, exact = (decision_chances(table, scores, c, 6).right for c in (cuts, true))
    assert seen == pytest.approx(exact, abs=0.06)


def test_marks_without_error_stay_as_they_are() -> None:
    # No line errs: the stations' own marks, however unequal, ask for what they ask for.
    score = cohort(40, 8, 23)
    table, centre = sheet(score), score.mean(axis=1) - score.mean()
    uneven = np.tile(score.mean(axis=0) - 12 + np.linspace(-8, 8, 8), (200, 1))
    even = np.tile(score.mean(axis=0) - 12, (200, 1))
    total = np.full(200, score.mean() - 12)
    right = [
        decision_chances(table, known(centre, 2.0), CutDraws(total, c), 6).right
        for c in (uneven, even)
    ]
    assert right[0].mean() < right[1].mean() - 0.01


# ---------------------------------------------------------------- calibration


@pytest.mark.long
def test_the_chance_of_the_other_decision_is_calibrated() -> None:
    # Three rounds of all designs (docs/marks-calibration.md holds a run of its own): in every tenth
    # that holds 2,000 students the whole 95% interval of the difference lies within 3 points.
    rounds = [joined(one_round(seed)) for seed in (77, 78, 79)]
    found = proved(by_tenth(joined(rounds)), 2000)
    assert len(found) >= 11
    assert found["agrees"].eq(True).all(), found


@pytest.mark.slow
def test_nothing_speaks_against_the_chance_of_the_other_decision() -> None:
    # A tenth of a round cannot show agreement; a tenth whose whole interval lay outside 3 points
    # would show that there is none.
    found = proved(by_tenth(joined(one_round(77, 0.1))), 200)
    assert len(found) >= 10
    assert not found["agrees"].eq(False).any(), found


def test_agreement_is_shown_only_by_an_interval_within_the_points() -> None:
    rows = [(2500, 0.40, 0.41, 0.005), (2500, 0.40, 0.41, 0.02), (2500, 0.40, 0.46, 0.01),
            (1999, 0.40, 0.40, 0.001)]  # fmt: skip
    table = pd.DataFrame(rows, columns=["students", "claimed", "realised", "error"])
    assert proved(table, 2000)["agrees"].tolist() == [True, None, False]


# ---------------------------------------------------------------- stations and sequences


def test_minimum_is_read_off_the_line_at_the_mark() -> None:
    # Reference line by numpy.polyfit.
    rng = np.random.default_rng(8)
    total = rng.normal(60, 8, 200)
    passed = np.clip(np.rint(0.15 * (total - 55) + 6 + rng.normal(0, 0.8, 200)), 0, 8)
    slope, start = np.polyfit(total, passed, 1)
    found = minimum_stations(total, passed, 52.0, 8)
    assert found.expected == pytest.approx(start + slope * 52)
    assert found.needed == int(start + slope * 52)
    assert found.low < found.expected < found.high


def test_the_cost_of_a_minimum_is_counted() -> None:
    total, passed = np.array([40.0, 55, 60, 70]), np.array([1.0, 2, 4, 4])
    found = {c.stations: c for c in minimum_stations(total, passed, 50.0, 4).choices}
    assert (found[3].by_this_alone, found[3].failures) == (1, 2)


def test_no_line_gives_no_minimum() -> None:
    assert minimum_stations(np.full(5, 60.0), np.full(5, 3.0), 50, 4).needed is None


def components_of(score: np.ndarray) -> VarianceComponents:
    return fit_variance(long(score), intervals="wald")


def test_many_more_stations_settle_nearly_everything() -> None:
    score = cohort(120, 8, 9)
    true = true_scores(long(score), components_of(score))
    found = recall_forecast(sheet(score), true, 55.0, 3.5, 60)
    for forecast in found:
        assert forecast.wrong_then < forecast.wrong_now / 2
    assert len(found[0].recalled) < len(found[1].recalled)


@pytest.mark.parametrize(
    ("total", "mark", "said"),
    [
        (57.5, 58.0, "total 57.5 below 58.0"),
        (58.0, 58.04, "total 58.00 below 58.04"),
        (57.996, 58.0, "total 57.996 below 58.000"),
    ],
)
def test_a_total_below_the_mark_is_seen_to_be_below_it(
    total: float, mark: float, said: str
) -> None:
    assert below_text(total, mark) == said


def test_only_those_below_mark_and_margin_are_recalled() -> None:
    score = cohort(60, 8, 10)
    true = true_scores(long(score), components_of(score))
    found = recall_forecast(sheet(score), true, 55.0, 3.0, 4)[0]
    total = dict(zip(sheet(score).students, score.mean(axis=1), strict=True))
    assert set(found.recalled) == {s for s, t in total.items() if t < 58}
