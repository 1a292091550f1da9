"""Searches for a minimum and a zero, held against scipy's (general reference library)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq, minimize, rosen, rosen_der

from sidewise.ground.searches import find_minimum, find_root


@pytest.mark.parametrize("seed", range(20))
def test_bounded_minimum_is_scipys(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size = int(rng.integers(1, 30))
    root = rng.normal(size=(size, size))
    bent, lean = root.T @ root + 0.1 * np.eye(size), rng.normal(size=size)

    def objective(x: np.ndarray) -> tuple[float, np.ndarray]:
        # Convex: a parabola and a sum of exponentials.
        e = np.exp(0.3 * x)
        return float(x @ bent @ x / 2 + lean @ x + e.sum()), bent @ x + lean + 0.3 * e

    low, high = -rng.uniform(0, 0.5, size), rng.uniform(0, 0.5, size)
    found = find_minimum(objective, np.zeros(size), low, high, tolerance=1e-13)
    theirs = minimize(
        objective, np.zeros(size), jac=True, method="L-BFGS-B",
        bounds=list(zip(low, high, strict=True)),
        options={"ftol": 1e-15, "gtol": 1e-10, "maxiter": 2000},
    )  # fmt: skip
    assert found.converged
    assert found.value == pytest.approx(theirs.fun, abs=1e-9)
    assert found.at == pytest.approx(theirs.x, abs=1e-5)


@pytest.mark.parametrize("size", [2, 5, 12])
def test_curved_valley(size: int) -> None:
    # Rosenbrock's function: its least value is 0 at ones.
    start = np.tile([-1.2, 1.0], size)[:size]
    found = find_minimum(lambda x: (rosen(x), rosen_der(x)), start, -5, 5, tolerance=1e-14)
    theirs = minimize(rosen, start, jac=rosen_der, method="BFGS", options={"gtol": 1e-8})
    assert found.converged
    assert found.value <= theirs.fun + 1e-10


def test_known_curvature_takes_one_step() -> None:
    bent = np.array([[3.0, 1.0], [1.0, 2.0]])
    found = find_minimum(
        lambda x: (float(x @ bent @ x / 2 - x.sum()), bent @ x - 1), np.array([5.0, -4.0]),
        -10, 10, curvature=bent,
    )  # fmt: skip
    assert found.at == pytest.approx(np.linalg.solve(bent, np.ones(2)))
    assert found.evaluations <= 2


def test_minimum_pressed_against_a_bound() -> None:
    found = find_minimum(lambda x: (float(x[0]), np.ones(1)), np.array([3.0]), 1.0, 9.0)
    assert found.at[0] == 1.0
    assert found.converged


def test_an_infinite_value_is_stepped_back_from() -> None:
    def objective(x: np.ndarray) -> tuple[float, np.ndarray]:
        if x[0] <= 0:
            return np.inf, np.zeros(1)
        return float(x[0] - np.log(x[0])), 1 - 1 / x

    assert find_minimum(objective, np.array([30.0]), -100, 100).at[0] == pytest.approx(1, abs=1e-4)


@pytest.mark.parametrize("seed", range(20))
def test_root_is_scipys(seed: int) -> None:
    rng = np.random.default_rng(seed)
    a, b, c = rng.uniform(0.2, 3, 3)

    def function(x: float) -> float:
        return float(np.expm1(a * x) + b * (x - c) ** 3)

    assert find_root(function, -6.0, 7.0) == pytest.approx(brentq(function, -6, 7), abs=1e-10)


def test_root_at_an_end() -> None:
    assert find_root(lambda x: x - 2, 2.0, 5.0) == 2.0


def test_root_needs_two_signs() -> None:
    with pytest.raises(ValueError, match="signs"):
        find_root(lambda x: x * x + 1, -1.0, 2.0)


def test_root_of_a_steep_step() -> None:
    def step(x: float) -> float:
        return -1.0 if x < 0.3 else 1e6

    assert find_root(step, 0.0, 1.0, tolerance=1e-9) == pytest.approx(0.3, abs=1e-8)
