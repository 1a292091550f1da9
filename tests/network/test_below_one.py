"""A finding less frequent with a condition than without: links below 0 in the core of a family.

Checked against sums over every state (`oracle.brute_force`): the plain engine, the compiled one,
several draws and several records.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.errors import UserError
from sidewise.network import (
    Network,
    Parameters,
    Reading,
    Structure,
    Variable,
    compiled_available,
    lowest_link,
    lowest_links,
    observed,
    observed_rows,
    solve,
    turn_on_compiled,
)
from tests.network.oracle import brute_force, random_findings, random_network

seeds = st.integers(0, 10**6)
QUADRATURE = 1e-3
"""What 15 nodes cost (docs/reasoning.md); the oracle's rule is finer."""


def lowered(rng: np.random.Generator, network: Network) -> Network:
    """The same network with half of the links that may be below 0 anywhere down to the lowest."""
    least = lowest_links(network.structure, network.parameters.leak)
    chosen = (least < 0) & (rng.random(least.shape) < 0.5)
    link = np.where(chosen, least * rng.random(least.shape), network.parameters.link)
    return Network(network.structure, replace(network.parameters, link=link))


def small(rng: np.random.Generator, draws: int = 1) -> Network:
    return random_network(rng, sides=2, persons=1, findings=5, draws=draws)


@settings(max_examples=12, deadline=None)
@given(seeds)
def test_every_engine_agrees_with_the_sum_over_all_states(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = lowered(rng, small(rng))
    evidence = observed(network.structure, random_findings(rng, network.structure, 6))
    exact = brute_force(network, evidence)
    assert exact.marginal.min() >= 0
    for compiled in (False, True) if compiled_available() else (False,):
        turn_on_compiled(compiled)
        try:
            found = solve(network, evidence)
        finally:
            turn_on_compiled(False)
        assert np.abs(found.marginal[0] - exact.marginal).max() < QUADRATURE


@settings(max_examples=4, deadline=None)
@given(seeds)
def test_draws_records_and_the_mean_are_the_same_sums(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = lowered(rng, small(rng, draws=3))
    names = [reading.name for reading in network.structure.readings][:5]
    present = rng.random((3, len(names))) < 0.5
    findings = [dict(zip(names, map(bool, row), strict=True)) for row in present]
    together = solve(network, observed(network.structure, findings[0])).marginal
    for draw in range(3):
        alone = solve(network.take(slice(draw, draw + 1)), observed(network.structure, findings[0]))
        assert np.abs(alone.marginal[0] - together[draw]).max() < 1e-9
    mean = network.mean()
    rows = solve(mean, observed_rows(range(5), present)).marginal
    for row, found in enumerate(findings):
        exact = brute_force(mean, observed(mean.structure, found))
        assert np.abs(rows[row] - exact.marginal).max() < QUADRATURE


def one(core: tuple[str, ...] | None, family: str | None, link: float) -> Network:
    reading = Reading("sign", ("a", "b"), family, "m" if family else None, core)
    structure = Structure((Variable("a"), Variable("b")), (reading,))
    prior = np.array([[[0.7, 0.3], [0.8, 0.2]]])
    rho = np.array([[0.1]]) if family else None
    return Network(
        structure,
        Parameters(prior, np.array([[link, 0.2]]), np.array([[0.4]]), rho, rho),
    )


def test_a_positive_finding_may_lower_its_condition_and_a_negative_one_raise_it() -> None:
    network = one(("a",), "f", -0.3)
    # By hand: P(seen | a, no b) = 1 - .6 x 1.3 = .22 against .40 without a.
    for seen, with_a, without in ((True, 0.22, 0.40), (False, 0.78, 0.60)):
        kept = {b: (1 - 0.2 * b) for b in (0, 1)}
        weight = {0: 0.8, 1: 0.2}
        share = [
            sum(w * (1 - 0.6 * k * kept[b] if seen else 0.6 * k * kept[b])
                for b, w in weight.items())
            for k in (1.3, 1.0)
        ]  # fmt: skip
        expected = 0.3 * share[0] / (0.3 * share[0] + 0.7 * share[1])
        found = solve(network, observed(network.structure, {"sign": seen})).marginal[0, 0, 1]
        assert found == pytest.approx(expected, abs=1e-12)
        assert bool(found < 0.3) is (with_a < without)


@pytest.mark.parametrize(
    ("core", "family", "link"),
    [(("b",), "f", -0.01), (None, None, -0.01), (("a",), "f", -0.7), (("a", "b"), "f", -0.3)],
)
def test_below_zero_outside_a_core_or_too_far_is_refused(
    core: tuple[str, ...] | None, family: str | None, link: float
) -> None:
    with pytest.raises(UserError, match="link"):
        one(core, family, link)


def test_the_lowest_link_leaves_no_product_above_one() -> None:
    leak = np.linspace(0.0, 0.99, 34)[:, None]
    for count in (1, 2, 3, 5):
        least = lowest_link(leak, np.array([count]))
        assert np.all((1 - leak) * (1 - least) ** count <= 1)
        assert np.all(least <= 0)
    assert np.all(lowest_link(leak, np.array([0])) == 0)
