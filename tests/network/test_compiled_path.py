"""The compiled passes give what numpy gives, to the last digits; without numba numpy is used.

The normal distribution is checked against scipy.special; the answers against the passes in
numpy, which other tests check against pyAgrum and sums over all states.
"""

from __future__ import annotations

import importlib.util
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr, ndtri

from sidewise.network import (
    Evidence,
    Network,
    compiled_available,
    compiled_is_on,
    forms,
    observed,
    solve,
    turn_on_compiled,
)
from sidewise.network.compiled import workspace
from sidewise.network.compiled.form import CompiledForm
from sidewise.network.elimination import ranked_rows
from sidewise.network.factors import (
    ComplaintSwitch,
    Gathered,
    Given,
    Hurts,
    Lone,
    LoneSwitch,
    MemberAlone,
    MemberOrOther,
    MemberSwitched,
    OtherCauses,
    Spares,
)
from sidewise.network.forms import form_of
from sidewise.network.plain.form import PlainForm
from sidewise.network.problem import problem_of, widths
from sidewise.network.switches import switches
from tests.network.oracle import random_findings, random_network
from tests.network.test_posterior import wide

EXACT = 1e-12
needs_numba = pytest.mark.skipif(not compiled_available(), reason="numba is an optional extra")
seeds = st.integers(0, 10**6)


@pytest.fixture
def compiled():
    """The compiled path, for one test."""
    assert turn_on_compiled()
    yield
    turn_on_compiled(False)


def both(network: Network, evidence: Evidence, switched: frozenset[int] = frozenset()) -> None:
    """Marginals, evidence and planned work by both ways."""
    problem = problem_of(network, evidence, switched)
    ours, theirs = CompiledForm(problem), PlainForm(problem)
    # The same greedy rule; equal costs that differ in the last digit may be taken in another order.
    assert ours.work <= 1.3 * theirs.work
    found, expected = ours.swept(True), theirs.swept(True)
    assert np.abs(found.marginal - expected.marginal).max() < EXACT
    assert np.abs(found.log_evidence - expected.log_evidence).max() < EXACT * 100
    alone = ours.swept(False)
    assert alone.marginal.size == 0
    assert np.abs(alone.log_evidence - found.log_evidence).max() < EXACT


@needs_numba
@settings(max_examples=40, deadline=None)
@given(seeds, st.sampled_from([1, 9, 41]), st.integers(0, 2))
def test_draws_equal_the_numpy_answer(seed: int, draws: int, complaints: int) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng, most_levels=4, complaints=complaints, draws=draws)
    findings = random_findings(rng, network.structure, int(rng.integers(0, 15)))
    both(network, observed(network.structure, findings))


@needs_numba
@settings(max_examples=25, deadline=None)
@given(seeds, st.integers(2, 40), st.booleans())
def test_rows_equal_the_numpy_answer(seed: int, rows: int, all_draws: bool) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng, complaints=1, draws=rows if all_draws else 1)
    one = observed(network.structure, random_findings(rng, network.structure, 9))
    absent, present = (np.repeat(x, rows, axis=0) for x in (one.absent, one.present))
    silent = rng.random(absent.shape) < 0.3
    absent[silent] = present[silent] = 1.0
    both(network, Evidence(one.readings, absent, present))


@needs_numba
@settings(max_examples=25, deadline=None)
@given(seeds, st.sampled_from([1, 17]))
def test_switches_equal_the_numpy_answer(seed: int, draws: int) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng, sides=4, most_parents=5, findings=5, draws=draws)
    evidence = observed(network.structure, random_findings(rng, network.structure, 8))
    columns = sorted(widths(network, evidence))[:2]
    if not columns:
        return
    problem = problem_of(network, evidence, frozenset(columns))
    found, expected = CompiledForm(problem), PlainForm(problem)
    # Each switch loses digits, which ones depends on the order of the sums.
    lost = expected.digits_lost(slice(0, draws))
    assert found.digits_lost(slice(0, draws)) == pytest.approx(lost, abs=1e-6)
    apart = np.abs(found.swept(True).marginal - expected.swept(True).marginal).max()
    assert apart < EXACT * 10**lost


@needs_numba
def test_every_kind_of_factor_was_among_the_networks() -> None:
    seen = set()
    for seed in range(60):
        rng = np.random.default_rng(seed)
        network = random_network(rng, sides=4, most_parents=5, findings=6, complaints=1)
        evidence = observed(network.structure, random_findings(rng, network.structure, 9))
        for columns in (frozenset(), frozenset(widths(network, evidence))):
            problem = problem_of(network, evidence, columns)
            seen |= {type(factor) for factor in problem.factors}
            if not columns:
                both(network, evidence)
    assert seen == {
        Given,
        ComplaintSwitch,
        Hurts,
        LoneSwitch,
        Spares,
        Lone,
        MemberAlone,
        MemberSwitched,
        MemberOrOther,
        OtherCauses,
        Gathered,
    }


@needs_numba
def test_threads_do_not_change_the_answer(compiled: None) -> None:
    rng = np.random.default_rng(3)
    network = random_network(rng, sides=5, findings=10, draws=203)
    evidence = observed(network.structure, random_findings(rng, network.structure, 12))
    one = solve(network, evidence, workers=1)
    for workers in (2, 5):
        several = solve(network, evidence, workers=workers)
        assert np.array_equal(one.marginal, several.marginal)
        assert np.array_equal(one.log_evidence, several.log_evidence)


@needs_numba
def test_requests_at_once_do_not_disturb_each_other(compiled: None) -> None:
    problems = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        network = random_network(rng, sides=4, findings=4 + seed, draws=40)
        problems.append(
            (network, observed(network.structure, random_findings(rng, network.structure, 7)))
        )
    alone = [solve(*problem).marginal for problem in problems]
    with ThreadPoolExecutor(8) as pool:
        for _ in range(5):
            together = list(pool.map(lambda problem: solve(*problem).marginal, problems))
            assert all(map(np.array_equal, alone, together))


@needs_numba
def test_room_is_kept_but_not_without_bounds() -> None:
    spaces = workspace.Workspace()
    first = spaces.take(1000)
    assert len(first) >= 1000
    spaces.give_back(first)
    assert spaces.take(900) is first
    spaces.give_back(np.empty(workspace.MOST_KEPT + 1))
    assert spaces.free == []
    for size in (10, 20, 30, 40, 50):
        spaces.give_back(np.empty(size))
    assert [len(space) for space in spaces.free] == [50, 40, 30, 20]
    assert len(spaces.take(25)) == 30


@needs_numba
def test_switches_that_cost_too_many_digits_are_found_out(compiled: None) -> None:
    network, findings = wide(5)
    evidence = observed(network.structure, findings)
    chosen = switches(network, evidence)
    answer = solve(network, evidence)
    turn_on_compiled(False)
    assert switches(network, evidence) == chosen
    assert np.abs(solve(network, evidence).marginal - answer.marginal).max() < 1e-9


@needs_numba
def test_ranking_is_the_same(compiled: None) -> None:
    rng = np.random.default_rng(8)
    network = random_network(rng, sides=4, findings=8, complaints=1)
    present = (rng.random((30, len(network.structure.readings))) < 0.3).astype(float)
    evidence = Evidence(tuple(range(present.shape[1])), 1.0 - present, present)
    ours = ranked_rows(network, evidence)
    turn_on_compiled(False)
    assert np.abs(ours.log_evidence - ranked_rows(network, evidence).log_evidence).max() < 1e-6


@needs_numba
def test_impossible_evidence_is_minus_infinity_in_both() -> None:
    network = random_network(np.random.default_rng(4), families=False)
    leak = np.zeros_like(network.parameters.leak)
    link = np.zeros_like(network.parameters.link)
    from dataclasses import replace

    never = Network(network.structure, replace(network.parameters, leak=leak, link=link))
    evidence = observed(network.structure, {network.structure.readings[0].name: True})
    problem = problem_of(never, evidence)
    with np.errstate(divide="ignore"):
        expected = PlainForm(problem).swept(True).log_evidence
    found = CompiledForm(problem).swept(True).log_evidence
    assert found[0] == expected[0] == -np.inf


@needs_numba
def test_tables_too_large_are_left_to_numpy(
    compiled: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    network = random_network(np.random.default_rng(4))
    findings = random_findings(np.random.default_rng(5), network.structure, 9)
    problem = problem_of(network, observed(network.structure, findings))
    assert isinstance(form_of(problem), CompiledForm)
    monkeypatch.setattr(forms, "MOST_ENTRIES", 3)
    assert isinstance(form_of(problem), PlainForm)


def test_without_numba_numpy_is_used(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    assert turn_on_compiled() is False
    network = random_network(np.random.default_rng(4))
    assert isinstance(form_of(problem_of(network, observed(network.structure, {}))), PlainForm)


def test_numpy_is_used_until_asked_otherwise() -> None:
    assert not compiled_is_on()


@needs_numba
def test_the_normal_distribution_equals_scipy() -> None:
    from sidewise.network.compiled.normal import exponential, lower_tail, quantile

    x = np.linspace(-45, 45, 9001)
    assert np.abs([lower_tail(v) for v in x] - ndtr(x)).max() < 5e-16
    assert lower_tail(-np.inf) == 0.0
    assert lower_tail(np.inf) == 1.0
    e = np.linspace(-703, 0, 5001)
    assert np.abs([exponential(v) for v in e] / np.exp(e) - 1.0).max() < 1e-15
    p = np.concatenate([np.logspace(-300, -1, 400), np.linspace(0.1, 0.9, 400)])
    p = np.concatenate([p, 1.0 - np.logspace(-15, -1, 100)])
    assert np.abs([quantile(v) for v in p] / ndtri(p) - 1.0)[p != 0.5].max() < 3e-14
    assert (quantile(0.0), quantile(1.0), quantile(0.5)) == (-np.inf, np.inf, 0.0)
