"""Weighted draws, invented records, priors before the complaint, and the compiled batch."""

from __future__ import annotations

import numpy as np
import pytest

from sidewise.errors import UserError
from sidewise.network import (
    Network,
    Parameters,
    Reading,
    Structure,
    Variable,
    evidence_percentile,
    independent,
    observed,
    observed_rows,
    posterior,
    pre_selection,
    prior_solution,
    simulate_records,
    solve,
    solve_records,
)
from sidewise.network import compiled_available as available
from sidewise.network.joint_tables import side_table
from sidewise.network.simulation import log_evidence_of
from sidewise.network.summary import weighted_centile
from tests.network.oracle import brute_force, random_network


def uncertain(draws: int, rng: np.random.Generator) -> Network:
    """One condition, two readings, uncertain figures: small enough for thousands of runs."""
    structure = Structure(
        (Variable("a"), Variable("b")), (Reading("f", ("a", "b")), Reading("g", ("a",)))
    )
    share = rng.beta(4, 8, (draws, 2))
    return Network(
        structure,
        Parameters(
            np.stack([1 - share, share], axis=-1),
            rng.beta(6, 4, (draws, structure.link_count)),
            rng.beta(2, 18, (draws, 2)),
        ),
    )


def test_equal_weights_give_hazens_centiles() -> None:
    values = np.random.default_rng(0).normal(size=(500, 4))
    ours = weighted_centile(values, np.full(500, 1 / 500), (0.025, 0.975))
    theirs = np.quantile(values, (0.025, 0.975), axis=0, method="hazen")
    assert np.abs(ours - theirs).max() < 1e-12


def test_whole_weights_act_like_repeated_values() -> None:
    values = np.array([[1.0], [2.0], [3.0]])
    once = weighted_centile(values, np.array([0.2, 0.6, 0.2]), (0.5,))
    assert once[0, 0] == pytest.approx(2.0)


def test_weighted_mean_is_the_posterior_over_the_mixture_of_draws() -> None:
    network = uncertain(40, np.random.default_rng(1))
    evidence = observed(network.structure, {"f": True, "g": False})
    alone = [brute_force(network.take(slice(d, d + 1)), evidence) for d in range(40)]
    weight = np.exp([a.log_evidence for a in alone])
    expected = sum(w * a.marginal for w, a in zip(weight, alone, strict=True)) / weight.sum()
    found = posterior(network, evidence)
    assert np.abs(found.mean - expected).max() < 1e-12
    assert found.log_evidence == pytest.approx(np.log(weight.mean()), abs=1e-12)


def test_effective_draws_are_kishs_number_and_few_warn() -> None:
    network = uncertain(400, np.random.default_rng(2))
    nothing = posterior(network, observed(network.structure, {}))
    assert nothing.effective == pytest.approx(400)
    assert nothing.warnings == ()
    leak = network.parameters.leak.copy()
    leak[7:, 1] = 0.0
    link = network.parameters.link.copy()
    link[7:, 2] = 1e-4
    p = network.parameters
    odd = posterior(
        Network(network.structure, Parameters(p.prior, link, leak)),
        observed(network.structure, {"g": True}),
    )
    assert odd.effective < 10
    assert "draws agree" in odd.warnings[0]


def test_intervals_hold_the_posterior_of_the_true_parameters() -> None:
    # Parameters drawn, a record drawn from them; the interval of fresh draws (each record has its
    # own, as in use) must hold the posterior under the true ones in 95 +/- 1%. 4,000 records:
    # standard error 0.34%; 500 draws put the ends on average 0.2% short.
    rng = np.random.default_rng(3)
    truth = uncertain(4000, rng)
    records = simulate_records(truth, 4000, rng)
    exact = 1 - solve(truth, observed_rows(records.readings, records.present)).marginal[:, 0, 0]
    held = []
    for row in range(4000):
        evidence = observed_rows(records.readings, records.present[row : row + 1])
        found = posterior(uncertain(500, rng), evidence)
        held.append(found.present_low[0] <= exact[row] <= found.present_high[0])
    assert len(held) == 4000
    assert abs(np.mean(held) - 0.95) < 0.01


def test_side_table_keeps_both_margins_and_reaches_both_ends() -> None:
    first = np.array([[0.6], [0.25], [0.15]])
    second = np.array([[0.8], [0.15], [0.05]])
    for k in (0.0, 0.3, 1.0):
        table = side_table(first, second, np.array([k]))
        assert np.abs(table.sum(axis=1) - first).max() < 1e-15
        assert np.abs(table.sum(axis=0) - second).max() < 1e-15
    assert side_table(first, first, np.array([1.0]))[..., 0] == pytest.approx(np.diag(first[:, 0]))


def test_priors_before_the_complaint_meet_the_published_ones_after_it() -> None:
    rng = np.random.default_rng(5)
    network = random_network(rng, sides=4, draws=3, complaints=2, pairs=False)
    before = pre_selection(network.structure, network.parameters)
    after = prior_solution(Network(network.structure, before))
    assert np.abs(after.marginal - network.parameters.prior).max() < 1e-9
    # Who complains has more of what hurts than who was not selected.
    assert (before.prior[:, 0, 0] > network.parameters.prior[:, 0, 0]).all()


def test_without_complaints_priors_stay() -> None:
    network = random_network(np.random.default_rng(5))
    assert pre_selection(network.structure, network.parameters) is network.parameters


def test_invented_records_follow_the_network() -> None:
    # Frequencies of every pattern of four findings against their exact probability: chi-squared
    # on 15 degrees of freedom, 99.9th centile 37.7 (any table).
    rng = np.random.default_rng(6)
    network = random_network(rng, sides=3, findings=2, complaints=2)
    count, readings = 40_000, (0, 1, 2, 3)
    records = simulate_records(network, count, rng, readings)
    patterns = np.array([[(i >> b) & 1 for b in range(4)] for i in range(16)])
    chance = np.exp(solve(network, observed_rows(readings, patterns)).log_evidence)
    assert chance.sum() == pytest.approx(1.0, abs=1e-3)  # families: 15 nodes
    seen = (records.present[:, None, :] == patterns).all(axis=2).sum(axis=0)
    assert ((seen - count * chance) ** 2 / (count * chance)).sum() < 37.7


def test_findings_of_a_family_are_correlated_as_asked() -> None:
    # With p = 1/2 for both, P(both present) = 1/4 + asin(r) / (2 pi) (Sheppard 1899).
    structure = Structure(
        (Variable("c"),),
        tuple(Reading(f"f{i}", ("c",), "family", "mechanism") for i in range(2)),
    )
    rho = np.array([[0.3]])
    network = Network(
        structure,
        Parameters(np.array([[[1.0, 0.0]]]), np.zeros((1, 2)), np.full((1, 2), 0.5), rho, rho),
    )
    exact = 0.25 + np.arcsin(0.6) / (2 * np.pi)
    both = solve(network, observed(structure, {"f0": True, "f1": True})).log_evidence[0]
    assert np.exp(both) == pytest.approx(exact, abs=1e-5)
    records = simulate_records(network, 40_000, np.random.default_rng(7))
    spread = np.sqrt(exact * (1 - exact) / 40_000)
    assert abs(records.present.all(axis=1).mean() - exact) < 3.3 * spread


def test_log_evidence_of_many_records_is_that_of_each() -> None:
    rng = np.random.default_rng(8)
    network = random_network(rng, complaints=1)
    records = simulate_records(network, 30, rng, (0, 2, 5, 9, 11, 14))
    together = log_evidence_of(network, records).log_evidence
    for row in range(30):
        alone = solve(network, observed_rows(records.readings, records.present[row : row + 1]))
        assert together[row] == pytest.approx(alone.log_evidence[0], abs=1e-3)


def test_an_ordinary_record_is_not_unusual() -> None:
    rng = np.random.default_rng(9)
    network = random_network(rng, findings=10, families=False)
    records = simulate_records(network, 40, rng, tuple(range(10)))
    found = [
        evidence_percentile(
            network, observed_rows(records.readings, records.present[i : i + 1]), seed=i
        )
        for i in range(40)
    ]
    # One in a hundred is expected: of 40, more than four has a chance of 0.0007.
    assert sum(f.unusual for f in found) <= 4
    assert min(f.among for f in found) == 24


def test_a_contradictory_record_is_unusual() -> None:
    readings = tuple(Reading(f"f{i}", ("c", "d")) for i in range(8))
    structure = Structure((Variable("c"), Variable("d")), readings)
    prior = np.array([[[0.5, 0.5], [0.9, 0.1]]])
    network = Network(
        structure,
        Parameters(prior, np.tile([[0.97, 0.1]], 8), np.full((1, 8), 0.02)),
    )
    half = observed(structure, {f"f{i}": i < 4 for i in range(8)})
    found = evidence_percentile(network, half, seed=1)
    assert found.unusual
    assert found.among == 1000


def test_too_little_work_allowed_leaves_a_record_unjudged() -> None:
    network = random_network(np.random.default_rng(9), findings=10, families=False)
    odd = observed(network.structure, {r.name: True for r in network.structure.readings})
    found = evidence_percentile(network, odd, seed=1, most_work=1)
    assert found.among == 24
    assert found.unusual is False


def test_nothing_seen_is_neither_usual_nor_unusual() -> None:
    network = random_network(np.random.default_rng(1))
    found = evidence_percentile(network, observed(network.structure, {}), seed=1)
    assert (found.percentile, found.unusual) == (50.0, False)


@pytest.mark.skipif(not available(), reason="numba is an optional extra")
@pytest.mark.parametrize("pairs", [False, True])
def test_compiled_records_equal_the_numpy_ones(pairs: bool) -> None:
    rng = np.random.default_rng(10)
    network = independent(random_network(rng, sides=5, findings=14, most_levels=4, pairs=pairs))
    records = simulate_records(network, 60, rng)
    codes = np.where(rng.random(records.present.shape) < 0.5, records.present.astype(int), -1)
    found = solve_records(network, records.readings, codes)
    for row in range(60):
        names = {
            network.structure.readings[r].name: bool(c) for r, c in enumerate(codes[row]) if c >= 0
        }
        alone = solve(network, observed(network.structure, names))
        assert np.abs(found.marginal[row] - alone.marginal[0]).max() < 1e-12
        assert found.log_evidence[row] == pytest.approx(alone.log_evidence[0], abs=1e-12)


def test_compiled_records_refuse_families() -> None:
    network = random_network(np.random.default_rng(1))
    with pytest.raises(ValueError, match="know no families"):
        solve_records(network, (0,), np.zeros((1, 1), dtype=int))


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"leak": np.full((1, 2), np.nan)}, "leak: got nan, expected numbers from 0 to 1"),
        ({"link": np.full((1, 3), 1.2)}, "link: got 1.2, expected numbers from 0 to 1"),
        ({"link": np.zeros((1, 5))}, r"parameters.link: got \(1, 5\)"),
        ({"prior": np.full((1, 2, 2), 0.4)}, "prior of a: got 0.8, expected levels that sum to 1"),
    ],
)
def test_impossible_figures_are_refused(change: dict, message: str) -> None:
    network = uncertain(1, np.random.default_rng(0))
    given = {**dict(network.parameters.arrays()), **change}
    with pytest.raises(UserError, match=message):
        Network(network.structure, Parameters(**given))


def test_rho_above_its_limit_is_refused() -> None:
    network = random_network(np.random.default_rng(0))
    given = dict(network.parameters.arrays())
    given["rho_structure"] = np.full_like(given["rho_structure"], 0.7)
    with pytest.raises(UserError, match=r"rho_structure \+ rho_mechanism: got .*at most 0.75"):
        Network(network.structure, Parameters(**given))


def test_unknown_findings_are_refused_by_name() -> None:
    network = uncertain(1, np.random.default_rng(0))
    with pytest.raises(UserError, match='findings: got "no such", expected the name of a reading'):
        observed(network.structure, {"no such": True})


def test_a_parent_that_is_no_variable_is_refused() -> None:
    with pytest.raises(UserError, match='f: got "z", expected the name of a variable'):
        Structure((Variable("a"),), (Reading("f", ("z",)),))


@pytest.mark.parametrize("pair", [(0.0, 0.0), (-1.0, 1.0), (float("nan"), 1.0)])
def test_impossible_likelihoods_are_refused(pair: tuple[float, float]) -> None:
    network = uncertain(1, np.random.default_rng(0))
    with pytest.raises(UserError, match=r"finding f: got .*expected two likelihoods"):
        observed(network.structure, {"f": pair})
