"""Our doors to quantiles and tails against scipy's statistics."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from sidewise.ground import distributions as d

P = np.array([0.001, 0.025, 0.5, 0.9, 0.975, 0.999])
X = np.array([-8.0, -1.5, 0.0, 0.3, 2.0, 9.0])


@pytest.mark.parametrize("df", [1, 2.5, 7, 46, 1000])
def test_student(df: float) -> None:
    assert d.t_quantile(P, df) == pytest.approx(stats.t.ppf(P, df), rel=1e-10, abs=1e-12)
    assert d.t_below(X, df) == pytest.approx(stats.t.cdf(X, df), rel=1e-10)
    assert d.t_above(X, df) == pytest.approx(stats.t.sf(X, df), rel=1e-10)


@pytest.mark.parametrize(("one", "two"), [(1, 3), (5, 15), (4.3, 88.1), (47, 329)])
def test_fisher(one: float, two: float) -> None:
    for p in P:
        assert d.f_quantile(p, one, two) == pytest.approx(stats.f.ppf(p, one, two), rel=1e-10)
    for x in (0.1, 1.0, 4.0, 30.0):
        assert d.f_above(x, one, two) == pytest.approx(stats.f.sf(x, one, two), rel=1e-10)


def test_beta_chi_squared_and_normal() -> None:
    for p in P:
        assert d.beta_quantile(p, 3, 8) == pytest.approx(stats.beta.ppf(p, 3, 8), rel=1e-10)
    for x in (0.2, 5.0, 60.0):
        assert d.chi_squared_above(x, 7) == pytest.approx(stats.chi2.sf(x, 7), rel=1e-10)
    assert d.normal_below(X) == pytest.approx(stats.norm.cdf(X), rel=1e-10)
