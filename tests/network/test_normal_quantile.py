"""The normal quantile in numpy, against scipy's."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from sidewise.network.normal import normal_probability, normal_quantile

P = np.concatenate([np.logspace(-300, -1, 400), np.linspace(0.05, 0.95, 401),
                    1.0 - np.logspace(-15, -1, 100)])  # fmt: skip


def test_the_quantile_equals_scipys() -> None:
    found = normal_quantile(P.reshape(-1, 17))
    away = P != 0.5
    assert np.abs(found.ravel()[away] / ndtri(P[away]) - 1.0).max() < 3e-14


def test_ends_and_middle() -> None:
    assert normal_quantile(np.array([0.0, 0.5, 1.0])).tolist() == [-np.inf, 0.0, np.inf]
    assert np.isnan(normal_quantile(np.array([-0.1, 1.1, np.nan]))).all()
    assert abs(float(normal_quantile(np.array(0.975))) - ndtri(0.975)) < 1e-15


def test_there_and_back() -> None:
    # Phi is right to 3e-16; near 1 a probability cannot tell more of its quantile.
    inside = P[(P > 1e-12) & (P < 1 - 1e-12)]
    assert np.abs(normal_probability(normal_quantile(inside)) - inside).max() < 2e-15
