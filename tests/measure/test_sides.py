"""Side differences and changes as numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.ground.interval import Z95
from sidewise.measure.sides.side_difference import (
    HealthySpread,
    ReadingError,
    cautious_difference_test,
    difference_test,
)
from sidewise.measure.visits.changes import change_test

DEGREES = st.floats(-60, 180)
SEMS = st.floats(0.5, 30)
HEALTHY = HealthySpread(0, 9.9)


def test_error_of_one_reading_counts_twice() -> None:
    found = difference_test(20, 60, ReadingError(5), HEALTHY, 20)
    assert found.error_threshold == pytest.approx(Z95 * 2**0.5 * 5)


def test_error_already_of_a_difference_counts_once() -> None:
    found = difference_test(20, 60, ReadingError(5, of_difference=True), HEALTHY, 20)
    assert found.error_threshold == pytest.approx(Z95 * 5)


@pytest.mark.parametrize(
    ("left", "real"), [(40.5, False), (40.49, True), (80.51, True), (79.5, False)]
)
def test_real_just_beyond_the_healthy_spread(left: float, real: bool) -> None:
    # 1.96 * 9.9 = 19.404, wider than the error of 1.96 sqrt 2 * 3 = 8.3.
    assert difference_test(left, 60.0, ReadingError(3), HealthySpread(0, 9.95), 20).real is real


def test_beyond_health_but_not_beyond_error_is_not_real() -> None:
    found = difference_test(35, 60, ReadingError(12), HEALTHY, 20)
    assert (found.beyond_healthy, found.beyond_error, found.real) == (True, False, False)


def test_beyond_error_but_healthy_is_not_real() -> None:
    found = difference_test(48, 60, ReadingError(3), HEALTHY, 20)
    assert (found.beyond_healthy, found.beyond_error, found.real) == (False, True, False)


def test_mean_healthy_difference_shifts_the_band() -> None:
    # Dominant shoulder rotates further out (Conte et al. 2009: 4.74, SD 11.0): right-handed, so
    # left minus right is -4.74 in health.
    spread = HealthySpread(-4.74, 11.0)
    assert not difference_test(66, 90, ReadingError(3), spread, 20).real
    assert difference_test(90, 66, ReadingError(3), spread, 20).real


def test_unknown_dominance_counts_only_what_is_real_either_way() -> None:
    spread = HealthySpread(-4.74, 11.0)
    assert not cautious_difference_test(90, 66, ReadingError(3), spread, 20).real
    assert cautious_difference_test(96, 66, ReadingError(3), spread, 20).real


def test_probability_against_simulation() -> None:
    # Flat prior: given d, the true difference is normal about d with the error's spread.
    rng = np.random.default_rng(4)
    true = rng.normal(12, 2**0.5 * 5, 400_000)
    found = difference_test(72, 60, ReadingError(5), HEALTHY, 10)
    # Three standard errors of a proportion of 400,000 draws.
    assert found.probability == pytest.approx((true > 0).mean(), abs=3 * (0.25 / 4e5) ** 0.5)
    assert found.clinical_probability == pytest.approx(
        (true > 10).mean(), abs=3 * (0.25 / 4e5) ** 0.5
    )


def test_error_alone_is_called_real_in_one_of_twenty() -> None:
    rng = np.random.default_rng(5)
    readings = rng.normal(60, 5, (20_000, 2))
    wrong = [difference_test(a, b, ReadingError(5), HealthySpread(0, 0.01), 20).beyond_error
             for a, b in readings]  # fmt: skip
    assert np.mean(wrong) == pytest.approx(0.05, abs=3 * (0.05 * 0.95 / 20_000) ** 0.5)


@given(DEGREES, DEGREES, SEMS, st.floats(-10, 10), st.floats(1, 20))
def test_mirroring_both_sides_mirrors_the_answer(
    left: float, right: float, sem: float, mean: float, sd: float
) -> None:
    spread = HealthySpread(mean, sd)
    one = difference_test(left, right, ReadingError(sem), spread, 20)
    other = difference_test(right, left, ReadingError(sem), spread.mirrored(), 20)
    assert (one.real, one.probability) == (other.real, other.probability)
    assert one.difference == -other.difference


@given(DEGREES, SEMS, st.floats(0, 100), st.floats(0, 100))
def test_larger_difference_is_never_less_probable(
    right: float, sem: float, small: float, more: float
) -> None:
    near = difference_test(right + small, right, ReadingError(sem), HEALTHY, 20)
    far = difference_test(right + small + more, right, ReadingError(sem), HEALTHY, 20)
    assert far.probability >= near.probability
    assert far.real >= near.real


@given(DEGREES, DEGREES, SEMS, st.floats(-50, 50))
def test_a_common_shift_of_both_sides_changes_nothing(
    left: float, right: float, sem: float, shift: float
) -> None:
    # Whole numbers: a shift of reals rounds.
    left, right, shift = round(left), round(right), round(shift)
    one = difference_test(left, right, ReadingError(sem), HEALTHY, 20)
    assert one == difference_test(left + shift, right + shift, ReadingError(sem), HEALTHY, 20)


@given(DEGREES, DEGREES, SEMS, SEMS)
def test_change_backwards_is_the_same_change(a: float, b: float, one: float, other: float) -> None:
    there, back = change_test(a, b, one, other), change_test(b, a, other, one)
    assert (there.real, there.threshold, there.change) == (back.real, back.threshold, -back.change)


def test_change_with_one_instrument_is_mdc95() -> None:
    assert change_test(10, 30, 5.4, 5.4).threshold == pytest.approx(
        15, abs=0.05
    )  # Tveita 2008: 15.


def test_change_with_two_instruments_adds_their_variances() -> None:
    assert change_test(10, 30, 3, 4).threshold == pytest.approx(Z95 * 5)


def test_disagreement_of_two_instruments_widens_the_threshold() -> None:
    assert change_test(10, 30, 3, 4, between_methods=10.2).threshold == pytest.approx(Z95 * 10.2)


@pytest.mark.parametrize("sem", [0, -1, float("nan")])
def test_error_of_nothing_is_refused(sem: float) -> None:
    with pytest.raises(UserError, match="standard error above 0"):
        ReadingError(sem)
    with pytest.raises(UserError, match="standard error above 0"):
        change_test(1, 2, sem, 1)
