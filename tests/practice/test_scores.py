"""Scores and calibration against Brier, Murphy and scikit-learn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom

from sidewise.practice.feedback import chance_calibration, score_chances
from sidewise.practice.feedback.scores import exact_interval


def test_scikit_learn_gives_the_same_brier_and_log_score() -> None:
    metrics = pytest.importorskip("sklearn.metrics")
    rng = np.random.default_rng(1)
    chances, there = rng.uniform(0.02, 0.98, 400), rng.random(400) < 0.3
    mine = score_chances(list(chances), list(there))
    assert mine.brier == pytest.approx(metrics.brier_score_loss(there, chances), abs=1e-12)
    assert mine.log == pytest.approx(metrics.log_loss(there, chances) / np.log(2), abs=1e-12)


def test_scikit_learn_gives_the_same_calibration_curve() -> None:
    calibration = pytest.importorskip("sklearn.calibration")
    rng = np.random.default_rng(2)
    chances, there = rng.random(500), rng.random(500) < 0.4
    share, stated = calibration.calibration_curve(there, chances, n_bins=10)
    mine = chance_calibration(list(chances), list(there), np.linspace(0, 1, 11).tolist())
    assert [one.share for one in mine.bins] == pytest.approx(share, abs=1e-12)
    assert [one.stated for one in mine.bins] == pytest.approx(stated, abs=1e-12)


def test_forecasts_of_the_base_rate_score_its_uncertainty() -> None:
    """Murphy 1973: with one constant forecast equal to the base rate, the score is uncertainty."""
    found = chance_calibration([0.25] * 8, [True] * 2 + [False] * 6)
    assert (found.brier, found.reliability, found.resolution) == pytest.approx((0.1875, 0, 0))
    assert found.uncertainty == pytest.approx(0.25 * 0.75)


def test_brier_is_nought_for_the_truth_and_one_for_its_opposite() -> None:
    """Brier 1950, p. 1, for two classes in the form that counts one of them."""
    assert score_chances([1.0, 0.0], [True, False]).brier == 0
    assert score_chances([0.0, 1.0], [True, False]).brier == 1


@given(st.lists(st.tuples(st.sampled_from([0.05, 0.2, 0.5, 0.8, 0.95]), st.booleans()), min_size=1))
def test_murphys_parts_add_up_where_every_bin_holds_one_chance(
    pairs: list[tuple[float, bool]],
) -> None:
    found = chance_calibration([c for c, _ in pairs], [t for _, t in pairs])
    total = found.reliability - found.resolution + found.uncertainty
    assert found.brier == pytest.approx(total, abs=1e-12)
    assert sum(one.count for one in found.bins) == len(pairs)


@pytest.mark.parametrize(("hits", "count"), [(0, 10), (3, 10), (10, 10), (40, 50)])
def test_interval_of_a_share_is_the_exact_one(hits: int, count: int) -> None:
    """Clopper and Pearson: at each limit the tail of the binomial is a fortieth."""
    low, high = exact_interval(hits, count)
    if hits:
        assert binom.sf(hits - 1, count, low) == pytest.approx(0.025)
    if hits < count:
        assert binom.cdf(hits, count, high) == pytest.approx(0.025)
