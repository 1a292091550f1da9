"""Domains and the composite's reliability, against stratified alpha and known variances."""

from __future__ import annotations

import numpy as np
import pytest

from sidewise.errors import UserError
from sidewise.teaching.reliability.composite import blueprint_projection, composite_reliability
from sidewise.teaching.reliability.consistency import consistency

STATIONS = tuple(f"t{j}" for j in range(8))
DOMAINS = ("history",) * 3 + ("hands",) * 5


def marks(students: int, seed: int, correlation: float = 0.5) -> np.ndarray:
    """True SD 8 in both domains, error SD 10."""
    rng = np.random.default_rng(seed)
    true = rng.multivariate_normal(
        [60, 60], 64 * np.array([[1, correlation], [correlation, 1]]), students
    )
    return true[:, [0] * 3 + [1] * 5] + rng.normal(0, 10, (students, 8))


def test_it_is_stratified_alpha() -> None:
    # Cronbach, Schonemann and McKie 1965: 1 - sum var(part) (1 - alpha(part)) / var(whole), sums
    # of items; alpha is the one checked against a published table elsewhere.
    x = marks(60, 1)
    parts = [x[:, :3], x[:, 3:]]
    lost = sum(p.sum(axis=1).var(ddof=1) * (1 - consistency(p).alpha.value) for p in parts)
    expected = 1 - lost / x.sum(axis=1).var(ddof=1)
    found = composite_reliability(x, STATIONS, DOMAINS)
    assert found.reliability.value == pytest.approx(expected, rel=1e-12)


def test_it_is_above_alpha_where_domains_differ() -> None:
    x = marks(400, 2, correlation=0.2)
    found = composite_reliability(x, STATIONS, DOMAINS).reliability.value
    assert found > consistency(x).alpha.value + 0.03


def test_known_variances_are_found_again() -> None:
    # Composite: w = 3/8, 5/8; true variance 64 (w1^2 + w2^2 + 2 r w1 w2) = 64 * 0.765625; error
    # 100/8. With 20,000 students the sampling error of a reliability is under 0.003, of a true
    # correlation under 0.012.
    found = composite_reliability(marks(20_000, 3), STATIONS, DOMAINS)
    true = 64 * 0.765625
    assert found.reliability.value == pytest.approx(true / (true + 100 / 8), abs=0.008)
    assert found.correlations[0, 1] == pytest.approx(0.5, abs=0.04)
    assert found.sem == pytest.approx((100 / 8) ** 0.5, rel=0.01)
    assert [f.sem for f in found.domains] == pytest.approx([(100 / 3) ** 0.5, 20**0.5], rel=0.015)


def test_the_interval_covers() -> None:
    # 200 classes of 80: 95% less what a percentile bootstrap loses, three binomial errors of 4.6.
    true = 64 * 0.765625
    target = true / (true + 100 / 8)
    inside = 0
    for seed in range(200):
        found = composite_reliability(marks(80, 100 + seed), STATIONS, DOMAINS).reliability
        assert found.low is not None
        assert found.high is not None
        inside += found.low <= target <= found.high
    assert inside / 200 > 0.95 - 0.046 - 0.02


def test_one_station_borrows_its_error_and_says_so() -> None:
    found = composite_reliability(marks(60, 4), STATIONS, ("history",) + ("hands",) * 7)
    assert found.domains[0].borrowed
    assert not found.domains[0].reliability.known
    assert found.warnings == ("One station only in history: its error is taken from the others.",)


def test_one_domain_is_refused() -> None:
    with pytest.raises(UserError, match="two domains"):
        composite_reliability(marks(60, 5), STATIONS, ("all",) * 8)


def test_the_blueprint_as_it_is_projects_to_itself() -> None:
    found = composite_reliability(marks(80, 4), STATIONS, DOMAINS)
    here = blueprint_projection(found, {"history": 3, "hands": 5})
    assert here.reliability == pytest.approx(found.reliability.value, rel=1e-12)
    assert here.sem == pytest.approx(found.sem, rel=1e-12)
    assert here.weights == pytest.approx({"history": 3 / 8, "hands": 5 / 8})


def test_twice_the_stations_follow_spearman_and_brown() -> None:
    # With weights unchanged, error halves: r' = 2 r / (1 + r) (Spearman 1910, Brown 1910).
    found = composite_reliability(marks(80, 5), STATIONS, DOMAINS)
    r = found.reliability.value
    twice = blueprint_projection(found, {"history": 6, "hands": 10})
    assert twice.reliability == pytest.approx(2 * r / (1 + r), rel=1e-12)


def test_a_projected_blueprint_is_what_known_variances_give() -> None:
    # True 64 and correlation 0.5, error 100 a station; 8 and 2 stations, weights 0.8 and 0.2.
    found = composite_reliability(marks(60_000, 6)[:20_000], STATIONS, DOMAINS)
    true = 64 * (0.8**2 + 0.2**2 + 2 * 0.5 * 0.8 * 0.2)
    error = 100 * (0.8**2 / 8 + 0.2**2 / 2)
    seen = blueprint_projection(found, {"history": 8, "hands": 2})
    assert seen.reliability == pytest.approx(true / (true + error), abs=0.01)


def test_domains_carry_the_whole_true_variance_together() -> None:
    found = composite_reliability(marks(300, 7), STATIONS, DOMAINS)
    assert sum(f.carries for f in found.domains) == pytest.approx(1)
    assert all(f.one_more > found.reliability.value for f in found.domains)


def test_a_blueprint_without_a_domain_is_refused() -> None:
    found = composite_reliability(marks(60, 8), STATIONS, DOMAINS)
    with pytest.raises(UserError, match="blueprint"):
        blueprint_projection(found, {"history": 3})
