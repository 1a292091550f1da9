"""Draws chosen to suit the findings: the same answer, more draws that count, honest intervals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sidewise.network import (
    Evidence,
    Network,
    Parameters,
    Reading,
    Structure,
    Summary,
    Variable,
    observed,
    observed_rows,
    posterior,
    simulate_records,
    solve,
    summarise,
)
from sidewise.reason.weighing.importance_weights import adapt_draws

READINGS = 24
STRUCTURE = Structure(
    (Variable("a"), Variable("b", 3)),
    tuple(Reading(f"r{i}", ("a", "b") if i % 3 else ("a",)) for i in range(READINGS)),
)
ROWS = np.arange(READINGS)


def uncertain(count: int, rng: np.random.Generator) -> Network:
    """Parameters as uncertain as fitted ones, independent from reading to reading."""
    prior = np.zeros((count, 2, 3))
    prior[:, 0, 1] = rng.beta(4, 12, count)
    prior[:, 1, 1:] = rng.dirichlet((3, 2, 12), count)[:, :2]
    prior[:, :, 0] = 1 - prior[:, :, 1:].sum(axis=2)
    parameters = Parameters(
        prior=prior,
        link=rng.beta(2, 2, (count, STRUCTURE.link_count)),
        leak=rng.beta(2, 12, (count, READINGS)),
    )
    return Network(STRUCTURE, parameters)


def chosen(network: Network, evidence: Evidence, seed: int) -> tuple[Parameters, np.ndarray]:
    marginal = solve(network.mean(), evidence).marginal[0]
    return adapt_draws(STRUCTURE, network.parameters, evidence, ROWS, marginal, seed)


def suited(network: Network, evidence: Evidence, seed: int) -> Summary:
    parameters, log_m = chosen(network, evidence, seed)
    other = Network(STRUCTURE, parameters)
    solution = solve(other, evidence)
    return summarise(other, replace(solution, log_evidence=solution.log_evidence - log_m))


def test_the_answer_is_that_of_many_plain_draws() -> None:
    rng = np.random.default_rng(11)
    pattern = rng.random(READINGS) < 0.3
    evidence = observed(STRUCTURE, {f"r{i}": bool(p) for i, p in enumerate(pattern)})
    plain = posterior(uncertain(60_000, rng), evidence)
    runs = [suited(uncertain(500, rng), evidence, seed) for seed in range(40)]
    means = np.array([run.present for run in runs])
    # Standard error of the average of 40 runs, and that of the plain answer.
    error = np.hypot(means.std(axis=0) / np.sqrt(40), 0.5 / np.sqrt(plain.effective))
    assert (np.abs(means.mean(axis=0) - plain.present) < 4 * error).all()


def test_many_more_draws_count() -> None:
    rng = np.random.default_rng(12)
    network = uncertain(500, rng)
    pattern = rng.random(READINGS) < 0.3
    evidence = observed(STRUCTURE, {f"r{i}": bool(p) for i, p in enumerate(pattern)})
    assert suited(network, evidence, 1).effective > 3 * posterior(network, evidence).effective


def test_nothing_examined_changes_no_draw() -> None:
    network = uncertain(100, np.random.default_rng(13))
    evidence = observed(STRUCTURE, {})
    parameters, log_m = chosen(network, evidence, 1)
    assert np.array_equal(parameters.link, network.parameters.link)
    assert np.array_equal(log_m, np.zeros(100))


def test_parameters_are_written_to_only_if_given_away() -> None:
    network = uncertain(100, np.random.default_rng(15))
    evidence = observed(STRUCTURE, {f"r{i}": i % 2 == 0 for i in range(READINGS)})
    marginal = solve(network.mean(), evidence).marginal[0]
    mine = Parameters(**{name: value.copy() for name, value in network.parameters.arrays()})
    kept, log_m = adapt_draws(STRUCTURE, mine, evidence, ROWS, marginal, 1)
    assert np.array_equal(mine.link, network.parameters.link)
    assert not np.array_equal(kept.link, mine.link)
    same, again = adapt_draws(STRUCTURE, mine, evidence, ROWS, marginal, 1, given_away=True)
    assert np.array_equal(same.link, kept.link)
    assert np.array_equal(same.leak, kept.leak)
    assert np.array_equal(log_m, again)
    assert np.shares_memory(same.link, mine.link)


@pytest.mark.slow
def test_intervals_hold_the_posterior_of_the_true_parameters() -> None:
    # 4,000 records drawn from drawn parameters; 95 +/- 1% of the intervals must hold the posterior
    # under the true ones (standard error 0.34%).
    rng = np.random.default_rng(14)
    truth = uncertain(4000, rng)
    records = simulate_records(truth, 4000, rng)
    exact = 1 - solve(truth, observed_rows(records.readings, records.present)).marginal[:, 0, 0]
    draws = uncertain(500, rng)
    held = []
    for row in range(4000):
        found = suited(draws, observed_rows(records.readings, records.present[row : row + 1]), row)
        held.append(found.present_low[0] <= exact[row] <= found.present_high[0])
    assert len(held) == 4000
    assert abs(np.mean(held) - 0.95) < 0.01
