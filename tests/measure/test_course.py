"""The local level, against its published example and the library's own model."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm

from sidewise.errors import UserError
from sidewise.measure.visits.course import fit_local_level, smooth_course, smooth_levels

NILE = sm.datasets.nile.load_pandas().data
YEARS, FLOW = NILE.iloc[:, 0].to_numpy(float), NILE.iloc[:, 1].to_numpy(float)


def test_nile_variances_are_the_published_ones() -> None:
    # Durbin & Koopman, Time Series Analysis by State Space Methods, 2nd ed., section 2.10.3:
    # 15099 and 1469.1.
    found = fit_local_level(YEARS, FLOW)
    assert found.observation_variance == pytest.approx(15099, abs=1)
    assert found.level_variance == pytest.approx(1469.1, abs=0.1)


def test_nile_smoothed_level_agrees_with_the_librarys_own_model() -> None:
    outside = sm.tsa.UnobservedComponents(FLOW, "llevel", use_exact_diffuse=True)
    theirs = outside.smooth([15099, 1469.1])
    ours = smooth_levels(YEARS, FLOW, np.full(FLOW.size, 15099.0), 1469.1)
    assert ours.level == pytest.approx(theirs.smoothed_state[0], abs=1e-8)
    assert ours.standard_error**2 == pytest.approx(theirs.smoothed_state_cov[0, 0], rel=1e-9)
    assert ours.log_likelihood == pytest.approx(theirs.llf, abs=1e-8)


def test_unequal_gaps_are_a_series_with_missing_weeks() -> None:
    # Weeks 0, 2, 3, 7: the same as weekly readings with the weeks between missing.
    weekly = np.array([20, np.nan, 31, 28, np.nan, np.nan, np.nan, 45.0])
    outside = sm.tsa.UnobservedComponents(weekly, "llevel", use_exact_diffuse=True).smooth(
        [29.0, 16.0]
    )
    ours = smooth_levels([0, 2, 3, 7], [20, 31, 28, 45], [29.0] * 4, 16.0)
    assert ours.level == pytest.approx(outside.smoothed_state[0][[0, 2, 3, 7]], abs=1e-9)


def _direct(
    times: list[float], values: list[float], variances: list[float], q: float
) -> np.ndarray:
    """The smoothed random walk by matrices (generalised least squares, flat first level)."""
    n = len(times)
    step = np.diff(np.eye(n), axis=0)
    precision = np.diag(1 / np.array(variances)) + step.T @ np.diag(1 / (q * np.diff(times))) @ step
    return np.linalg.solve(precision, np.array(values) / np.array(variances))


def test_smoother_agrees_with_matrices_for_mixed_instruments() -> None:
    times, values, variances = [0.0, 6, 13, 20], [15.0, 30, 28, 52], [29.0, 29, 253, 12]
    ours = smooth_levels(times, values, variances, 9.0)
    assert ours.level == pytest.approx(_direct(times, values, variances, 9.0), abs=1e-9)


def test_less_exact_instrument_pulls_the_course_less() -> None:
    exact = smooth_course([0, 6, 12], [20, 60, 20], [5, 5, 5], 5)
    rough = smooth_course([0, 6, 12], [20, 60, 20], [5, 20, 5], 5)
    assert rough.level[1] < exact.level[1]


def test_band_of_a_course_covers_the_truth() -> None:
    rng = np.random.default_rng(11)
    times, runs, inside = np.array([0.0, 3, 8, 14]), 300, 0
    for _ in range(runs):
        pace = abs(rng.normal(0, 5))
        steps = rng.normal(0, pace * np.sqrt(np.diff(times)))
        truth = 60 + np.concatenate([[0], np.cumsum(steps)])
        found = smooth_course(times, truth + rng.normal(0, 5.4, 4), [5.4] * 4, 5)
        inside += int(found.low[-1] <= truth[-1] <= found.high[-1])
    # Pace drawn from the prior, so 95% is exact up to the mixture's shape; 3 standard errors.
    assert inside / runs == pytest.approx(0.95, abs=3 * (0.95 * 0.05 / runs) ** 0.5)


def test_mirrored_readings_mirror_the_course() -> None:
    up, down = (
        smooth_course([0, 2, 9], [10, 20, 45], [5] * 3, 5),
        smooth_course([0, 2, 9], [-10, -20, -45], [5] * 3, 5),
    )
    assert up.level == pytest.approx(-down.level)
    assert up.low == pytest.approx(-down.high)


@pytest.mark.parametrize(
    ("times", "values", "sems", "message"),
    [
        ([0, 1], [1, 2], [1, 1], "at least 3 for a course"),
        ([0, 2, 1], [1, 2, 3], [1, 1, 1], "visits in order"),
        ([0, 1, 1], [1, 2, 3], [1, 1, 1], "visits in order"),
        ([0, 1, 2], [1, float("nan"), 3], [1, 1, 1], "errors above 0"),
        ([0, 1, 2], [1, 2, 3], [1, 0, 1], "errors above 0"),
        ([0, 1, 2], [1, 2], [1, 1, 1], "three equal lists"),
    ],
)
def test_course_refuses(
    times: list[float], values: list[float], sems: list[float], message: str
) -> None:
    with pytest.raises(UserError, match=message):
        smooth_course(times, values, sems, 5)
