"""The three signs of a station that measures something else, one edge at a time."""

from __future__ import annotations

import pytest

from sidewise.ground.estimate import Estimate
from sidewise.teaching.sitting.stations import apart_signs


def signs(link_low: float = 0.2, slope_low: float = 5.0, without: float = 0.6) -> int:
    return len(apart_signs(Estimate(0.5, link_low, 0.8), Estimate(9, slope_low, 12), 0.7, without))


def test_a_sound_station_has_no_sign() -> None:
    assert signs() == 0


@pytest.mark.parametrize(("low", "count"), [(-0.01, 1), (0.0, 1), (0.01, 0)])
def test_link_that_may_be_zero_is_a_sign(low: float, count: int) -> None:
    assert signs(link_low=low) == count


@pytest.mark.parametrize(("low", "count"), [(-0.1, 1), (0.0, 1), (0.1, 0)])
def test_slope_that_may_be_zero_is_a_sign(low: float, count: int) -> None:
    assert signs(slope_low=low) == count


@pytest.mark.parametrize(("without", "count"), [(0.69, 0), (0.70, 0), (0.71, 1)])
def test_higher_alpha_without_it_is_a_sign(without: float, count: int) -> None:
    assert signs(without=without) == count


def test_no_interval_is_no_sign() -> None:
    nothing = Estimate(0.1)
    assert apart_signs(nothing, nothing, 0.7, 0.6) == ()
