"""Effects, expected gain and the result that would change one's mind."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.network import (
    Evidence,
    Network,
    Parameters,
    Reading,
    Structure,
    Variable,
    effects,
    gains,
    independent,
    observed,
    solve,
)
from sidewise.network.finding_effects import log_odds
from sidewise.network.gain import entropy
from tests.network.oracle import random_findings, random_network

seeds = st.integers(0, 2**32 - 1)


def a_record(seed: int, *, family: bool = True, seen: int = 7) -> tuple[Network, Evidence]:
    rng = np.random.default_rng(seed)
    network = random_network(rng, families=family, complaints=seed % 3)
    return network, observed(network.structure, random_findings(rng, network.structure, seen))


@settings(max_examples=20)
@given(seeds)
def test_effect_is_the_change_on_taking_a_finding_away(seed: int) -> None:
    network, evidence = a_record(seed, family=False)
    found = effects(network, evidence)
    whole = 1 - solve(network, evidence).marginal[0, :, 0]
    for place, reading in enumerate(evidence.readings):
        less = 1 - solve(network, evidence.without(reading)).marginal[0, :, 0]
        expected = log_odds(whole) - log_odds(less)
        assert np.abs(found.log_odds[place] - expected).max() < 1e-9


def test_effect_in_a_family_of_two_leaves_a_lone_finding() -> None:
    network, evidence = a_record(4)
    found = effects(network, evidence)
    for place, reading in enumerate(evidence.readings):
        less = 1 - solve(network, evidence.without(reading)).marginal[0, :, 0]
        # What is left is averaged over 15 nodes there, and exact here: see the decision page.
        assert np.abs(found.without[place] - less).max() < 1e-4


@settings(max_examples=20)
@given(seeds)
def test_gain_equals_entering_each_result_and_starting_again(seed: int) -> None:
    network, evidence = a_record(seed, family=False)
    found = gains(network, evidence)
    now = solve(network, evidence)
    for place, reading in enumerate(found.readings):
        after = [solve(network, evidence.adding(reading, value)) for value in (False, True)]
        chance = [float(np.exp(a.log_evidence - now.log_evidence)[0]) for a in after]
        expected = entropy(now.marginal[0]) - sum(
            c * entropy(a.marginal[0]) for c, a in zip(chance, after, strict=True)
        )
        assert found.bits[place] == pytest.approx(expected, abs=1e-9)
        assert found.chance[place] == pytest.approx(chance[1], abs=1e-9)
        then = 1 - after[1].marginal[0, :, 0]
        assert np.abs(found.if_present[place] - then).max() < 1e-8


def test_gain_within_families_equals_starting_again() -> None:
    swept = 0
    for seed in range(5):
        network, evidence = a_record(seed)
        found = gains(network, evidence)
        for place, reading in enumerate(found.readings):
            gone = solve(network, evidence.adding(reading, False)).marginal[0]
            assert np.abs(found.if_absent[place] - (1 - gone[:, 0])).max() < 2e-4
            swept += 1
    assert swept == 45


@settings(max_examples=30)
@given(seeds)
def test_gain_is_never_negative(seed: int) -> None:
    network, evidence = a_record(seed)
    found = gains(network, evidence)
    assert len(found.readings) == 9
    assert found.bits.min() >= 0.0
    assert found.chance.min() >= 0.0
    assert found.chance.max() <= 1.0


def twin(rho: float) -> tuple[Network, Evidence]:
    """A finding seen, and its unexamined twin of the same family, mechanism and accuracy."""
    readings = tuple(Reading(f"f{i}", ("c",), "family", "mechanism") for i in range(2))
    structure = Structure((Variable("c"),), readings)
    half = np.array([[rho / 2]])
    parameters = Parameters(
        np.array([[[0.65, 0.35]]]), np.array([[0.6, 0.6]]), np.array([[0.3, 0.3]]), half, half
    )
    return Network(structure, parameters), observed(structure, {"f0": True})


def test_a_twin_tells_less_the_more_it_is_correlated() -> None:
    bits = [gains(*twin(rho)).bits[0] for rho in (0.0, 0.15, 0.3, 0.45, 0.6, 0.75)]
    assert all(more > less for more, less in pairwise(bits))
    # The notes' two manoeuvres lose a half by rho = 0.45; at 0.75 little is left.
    assert bits[-1] < 0.4 * bits[0]


def test_gain_can_count_some_conditions_only() -> None:
    network, evidence = a_record(6, family=False)
    some = gains(network, evidence, interest=[0]).bits
    rest = gains(network, evidence, interest=range(1, 7)).bits
    assert gains(network, evidence).bits == pytest.approx(some + rest, abs=1e-12)


def test_best_of_an_item_is_its_most_telling_reading() -> None:
    network, evidence = a_record(6, family=False)
    found = gains(network, evidence)
    item = found.best_of({"an item": found.readings[:3], "seen": evidence.readings})
    assert list(item) == ["an item"]
    assert item["an item"].bits == found.bits[:3].max()
    assert item["an item"].reading == found.readings[int(found.bits[:3].argmax())]


def test_change_of_mind_names_the_result_that_moves_most() -> None:
    network, evidence = a_record(6, family=False)
    found = gains(network, evidence)
    change = found.change_of_mind(0, least_chance=0.0)
    assert change is not None
    then = solve(network, evidence.adding(change.reading, change.present)).marginal[0, 0, 0]
    assert change.then == pytest.approx(1 - then, abs=1e-9)
    every = np.concatenate([found.if_absent[:, 0], found.if_present[:, 0]])
    assert abs(change.shift) == pytest.approx(
        np.abs(log_odds(every) - log_odds(found.base[0])).max(), abs=1e-9
    )


def test_change_of_mind_is_none_when_all_is_examined() -> None:
    network, _ = a_record(1)
    findings = {r.name: False for r in network.structure.readings}
    assert gains(network, observed(network.structure, findings)).change_of_mind(0) is None


def test_change_of_mind_is_none_for_a_condition_that_no_result_moves() -> None:
    # Rounding alone must never choose a result to name.
    structure = Structure(
        variables=(Variable("apart"), Variable("joined"), Variable("beside", 3)),
        readings=(Reading("one", ("joined", "beside")), Reading("two", ("joined",))),
    )
    prior = np.array([[[0.9, 0.1, 0.0], [0.7, 0.3, 0.0], [0.6, 0.3, 0.1]]])
    parameters = Parameters(prior, np.array([[0.6, 0.3, 0.5, 0.7]]), np.array([[0.1, 0.05]]))
    network = Network(structure, parameters)
    found = gains(network, observed(structure, {}))
    assert found.change_of_mind(0) is None
    assert found.change_of_mind(1) is not None


def test_gains_of_one_finding_of_a_family_are_those_without_families() -> None:
    rng = np.random.default_rng(3)
    network = random_network(rng)
    nothing = observed(network.structure, {})
    with_families, without = gains(network, nothing), gains(independent(network), nothing)
    assert np.array_equal(with_families.bits, without.bits)
