"""Posteriors against a general exact library, against sums over all states, and identities."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sidewise.network import (
    Complaint,
    Network,
    Parameters,
    Reading,
    Structure,
    Variable,
    families,
    independent,
    observed,
    prior_solution,
    solve,
)
from sidewise.network.forms import form_of
from sidewise.network.problem import problem_of, widths
from sidewise.network.switches import CHEAP, switches
from tests.network.agrum import ENGINES, bayes_net, gum, marginals
from tests.network.oracle import brute_force, random_findings, random_network

EXACT = 1e-9  # agreement demanded of an outside exact library
ROUNDING = 1e-11  # two orders of the same sums in double precision
seeds = st.integers(0, 2**32 - 1)


def plain(seed: int, **kind: object) -> tuple[Network, dict, np.random.Generator]:
    rng = np.random.default_rng(seed)
    network = random_network(rng, families=False, **kind)
    return network, random_findings(rng, network.structure, 9), rng


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_graded_networks_agree_with_pyagrum(seed: int) -> None:
    network, findings, _ = plain(
        seed, sides=4, most_levels=4, most_parents=4, pairs=False, complaints=seed % 3
    )
    theirs = marginals(network, bayes_net(network), findings)
    ours = solve(network, observed(network.structure, findings)).marginal[0]
    assert np.abs(ours - theirs).max() < EXACT


@pytest.mark.parametrize("engine", sorted(ENGINES))
def test_every_engine_of_pyagrum_agrees(engine: str) -> None:
    network, findings, _ = plain(5, pairs=False)
    theirs = marginals(network, bayes_net(network), findings, engine)
    ours = solve(network, observed(network.structure, findings)).marginal[0]
    assert np.abs(ours - theirs).max() < EXACT


def test_links_do_not_contain_the_leak() -> None:
    # One parent surely there: P(absent) is (1 - leak)(1 - q), not 1 - q.
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("c", "", 2))
    net.addNoisyORNet(gum.LabelizedVariable("f", "", 2), 0.2)
    net.addWeightedArc("c", "f", 0.6)
    net.cpt("c").fillWith([0.7, 0.3])
    structure = Structure((Variable("c"),), (Reading("f", ("c",)),))
    network = Network(
        structure,
        Parameters(np.array([[[0.7, 0.3]]]), np.array([[0.6]]), np.array([[0.2]])),
    )
    inference = gum.LazyPropagation(net)
    inference.setEvidence({"f": 1})
    theirs = inference.posterior("c").toarray()
    ours = solve(network, observed(structure, {"f": True})).marginal[0, 0]
    assert np.abs(ours - theirs).max() < EXACT
    assert ours[1] == pytest.approx(0.3 * 0.68 / (0.3 * 0.68 + 0.7 * 0.2), abs=EXACT)


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_pairs_complaints_and_soft_evidence_equal_the_sum_over_states(seed: int) -> None:
    network, findings, _ = plain(seed, complaints=seed % 3)
    evidence = observed(network.structure, findings)
    exact, ours = brute_force(network, evidence), solve(network, evidence)
    assert np.abs(ours.marginal[0] - exact.marginal).max() < ROUNDING
    assert abs(ours.log_evidence[0] - exact.log_evidence) < ROUNDING


def test_complaint_keeps_its_digits_when_all_else_is_absent() -> None:
    # The worst case for the difference of two runs: only a small leak explains the complaint.
    structure = Structure(
        (Variable("a"), Variable("b")),
        (Reading("f", ("a", "b")),),
        complaints=(Complaint("hurts", ("a", "b")),),
    )
    leak = 1e-4
    prior = np.array([[[1 - 1e-9, 1e-9], [1 - 1e-9, 1e-9]]])
    network = Network(
        structure,
        Parameters(
            prior,
            np.array([[0.9, 0.9]]),
            np.array([[0.1]]),
            complaint_link=np.array([[0.9, 0.8]]),
            complaint_leak=np.array([[leak]]),
        ),
    )
    evidence = observed(structure, {"f": False})
    exact, ours = brute_force(network, evidence), solve(network, evidence)
    assert ours.marginal[0, 0, 1] == pytest.approx(exact.marginal[0, 1], rel=1e-10)


def test_families_converge_to_the_double_integral(monkeypatch: pytest.MonkeyPatch) -> None:
    # Twelve conditions of a side each in its levels, three mechanisms, up to 40 states a side.
    # The rule is geometric in the nodes: at 61 nothing but rounding and the grid's ends remain.
    worst = {15: 0.0, 61: 0.0}
    for seed in range(6):
        rng = np.random.default_rng(seed)
        network = random_network(rng, sides=2, persons=1)
        evidence = observed(network.structure, random_findings(rng, network.structure, 8))
        exact = brute_force(network, evidence)
        for nodes in worst:
            monkeypatch.setattr(families, "NODES", nodes)
            again = Network(network.structure, network.parameters)
            found = np.abs(solve(again, evidence).marginal[0] - exact.marginal).max()
            worst[nodes] = max(worst[nodes], found)
    assert worst[61] < 1e-5  # mass beyond 4.6 standard deviations is 4e-6
    assert worst[15] < 1e-3


def test_a_family_over_twelve_conditions_equals_brute_force() -> None:
    rng = np.random.default_rng(3)
    network = random_network(
        rng, sides=6, persons=0, findings=5, most_levels=2, most_parents=6, pairs=False
    )
    evidence = observed(network.structure, random_findings(rng, network.structure, 7))
    exact, ours = brute_force(network, evidence), solve(network, evidence)
    assert np.abs(ours.marginal[0] - exact.marginal).max() < 1e-3


@pytest.mark.parametrize(("leak", "link"), [(0.0, 0.5), (0.1, 1.0)])
@pytest.mark.parametrize("first", [True, False])
def test_impossible_and_certain_findings_of_a_family_give_figures(
    leak: float, link: float, first: bool
) -> None:
    # The threshold of a probability of 0 or 1 is infinite.
    readings = (Reading("f", ("a",), "fam", "m"), Reading("g", ("a", "b"), "fam", "m"))
    structure = Structure((Variable("a"), Variable("b")), readings)
    prior, rho = np.array([[[0.6, 0.4], [0.7, 0.3]]]), np.array([[0.2]])
    links, leaks = np.full((1, 3), link), np.full((1, 2), leak)
    network = Network(structure, Parameters(prior, links, leaks, rho, rho))
    evidence = observed(structure, {"f": first, "g": True})
    exact, ours = brute_force(network, evidence), solve(network, evidence)
    # Two findings at r = .4: the quadrature's error, docs/decisions/exact-elimination.md.
    assert np.abs(ours.marginal[0] - exact.marginal).max() < 1e-3
    assert ours.log_evidence[0] == pytest.approx(exact.log_evidence, abs=1e-3)


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_one_finding_of_a_family_is_no_family(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng)
    chosen = {}
    for number in rng.permutation(len(network.structure.readings)):
        reading = network.structure.readings[number]
        chosen.setdefault(reading.family or reading.name, (reading.name, bool(rng.integers(2))))
    evidence = observed(network.structure, dict(chosen.values()))
    with_family, without = solve(network, evidence), solve(independent(network), evidence)
    assert np.abs(with_family.marginal - without.marginal).max() == 0.0


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_order_of_findings_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    network = random_network(rng, complaints=1)
    findings = random_findings(rng, network.structure, 9)
    turned = dict(reversed(list(findings.items())))
    first = solve(network, observed(network.structure, findings))
    second = solve(network, observed(network.structure, turned))
    assert np.array_equal(first.marginal, second.marginal)


def test_nothing_examined_gives_the_prior() -> None:
    rng = np.random.default_rng(1)
    network = random_network(rng, draws=7)
    nothing = solve(network, observed(network.structure, {}))
    assert np.abs(nothing.marginal - network.parameters.prior).max() < ROUNDING
    assert np.abs(nothing.log_evidence).max() < ROUNDING


def test_nothing_examined_with_a_complaint_gives_the_prior_of_complainers() -> None:
    rng = np.random.default_rng(2)
    network = random_network(rng, complaints=2)
    nothing = observed(network.structure, {})
    exact = brute_force(network, nothing)
    assert np.abs(prior_solution(network).marginal[0] - exact.marginal).max() < ROUNDING
    assert np.abs(solve(network, nothing).log_evidence).max() < ROUNDING


@settings(max_examples=25, deadline=None)
@given(seeds)
def test_an_unexamined_item_summed_out_changes_nothing(seed: int) -> None:
    network, findings, _ = plain(seed, complaints=1)
    more = next(r.name for r in network.structure.readings if r.name not in findings)
    before = solve(network, observed(network.structure, findings))
    seen = [
        solve(network, observed(network.structure, {**findings, more: value}))
        for value in (False, True)
    ]
    chance = [np.exp(s.log_evidence[0] - before.log_evidence[0]) for s in seen]
    assert sum(chance) == pytest.approx(1.0, abs=ROUNDING)
    mixed = sum(c * s.marginal for c, s in zip(chance, seen, strict=True))
    assert np.abs(mixed - before.marginal).max() < ROUNDING


def test_swapping_the_sides_mirrors_the_answer() -> None:
    rng = np.random.default_rng(11)
    one = random_network(rng, sides=3, persons=1, complaints=1)
    network = mirrored(one)
    structure = network.structure
    names = [r.name for r in structure.readings if r.name.endswith(".l")]
    findings = {n: bool(rng.integers(2)) for n in rng.choice(names, 6, replace=False).tolist()}
    other = {name[:-1] + "r": value for name, value in findings.items()}
    ours = solve(network, observed(structure, findings)).marginal[0]
    theirs = solve(network, observed(structure, other)).marginal[0]
    swap = [structure.variable_index[_other(v.name)] for v in structure.variables]
    assert np.abs(ours - theirs[swap]).max() < ROUNDING


def _other(name: str) -> str:
    return {"l": name[:-1] + "r", "r": name[:-1] + "l"}.get(name[-1], name)


def mirrored(network: Network) -> Network:
    """The left half of a network on both sides, with the same figures."""
    old, p = network.structure, network.parameters
    left = [r for r in old.readings if r.name.endswith(".l")]
    turned = [
        Reading(
            _other(r.name),
            tuple(_other(n) for n in r.parents),
            _other(r.family) if r.family else None,
            r.mechanism,
            None if r.core is None else tuple(_other(n) for n in r.core),
        )
        for r in left
    ]
    structure = Structure(old.variables, (*left, *turned), old.pairs)
    numbers = [old.reading_index[r.name] for r in left]
    columns = np.concatenate(
        [
            np.arange(old.link_columns(n, i).start, old.link_columns(n, i).stop)
            for n in numbers
            for i in range(len(old.readings[n].parents))
        ]
    )
    prior = p.prior.copy()
    for a, b in old.pair_numbers:
        prior[:, b] = prior[:, a]
    count = len([f for f in structure.families if f.endswith(".l")])
    rho = np.full((1, 2 * count), 0.2)
    return Network(
        structure,
        Parameters(
            prior,
            np.tile(p.link[:, columns], 2),
            np.tile(p.leak[:, numbers], 2),
            rho,
            rho,
            p.concordance,
        ),
    )


@pytest.mark.parametrize("with_families", [False, True])
def test_every_reading_present_does_not_overflow(with_families: bool) -> None:
    rng = np.random.default_rng(4)
    network = random_network(rng, sides=5, findings=30, families=with_families, complaints=1)
    findings = {r.name: True for r in network.structure.readings}
    answer = solve(network, observed(network.structure, findings))
    assert len(findings) == 60
    assert np.isfinite(answer.log_evidence).all()
    assert np.abs(answer.marginal.sum(axis=-1) - 1).max() < ROUNDING


def test_a_hundred_rare_findings_do_not_underflow() -> None:
    # Leaks of 1e-9 make the evidence about 1e-900, far below the smallest double.
    variables = tuple(Variable(f"c{i}") for i in range(4))
    readings = tuple(Reading(f"f{i}", ("c0", f"c{1 + i % 3}")) for i in range(100))
    structure = Structure(variables, readings)
    prior = np.full((1, 4, 2), 0.5)
    network = Network(
        structure,
        Parameters(prior, np.full((1, structure.link_count), 1e-9), np.full((1, 100), 1e-9)),
    )
    answer = solve(network, observed(structure, {r.name: True for r in readings}))
    assert -2100 < answer.log_evidence[0] < -1900
    assert answer.marginal[0, 0, 1] > 0.99


def test_draws_and_single_runs_agree_whatever_the_blocks() -> None:
    rng = np.random.default_rng(8)
    network = random_network(rng, sides=4, draws=131, complaints=1)
    evidence = observed(network.structure, random_findings(rng, network.structure, 10))
    together = solve(network, evidence)
    alone = [solve(network.take(slice(d, d + 1)), evidence) for d in range(131)]
    assert max(np.abs(together.marginal[d] - a.marginal[0]).max() for d, a in enumerate(alone)) < (
        ROUNDING
    )
    gaps = [together.log_evidence[d] - a.log_evidence[0] for d, a in enumerate(alone)]
    assert np.abs(gaps).max() < ROUNDING


def test_evidence_alone_is_the_same_evidence() -> None:
    rng = np.random.default_rng(9)
    network = random_network(rng, draws=3, complaints=2)
    evidence = observed(network.structure, random_findings(rng, network.structure, 10))
    both = solve(network, evidence).log_evidence
    assert np.abs(solve(network, evidence, marginals=False).log_evidence - both).max() < ROUNDING


def wide(seed: int) -> tuple[Network, dict]:
    """Readings of nine parents each, so that switches are worth their while."""
    rng = np.random.default_rng(seed)
    network = random_network(
        rng, sides=8, persons=1, findings=9, most_levels=2, most_parents=9, pairs=False
    )
    structure = network.structure
    readings = tuple(
        Reading(r.name, tuple(v.name for v in structure.variables[:9]), *r_family(r))
        for r in structure.readings
    )
    same = Structure(structure.variables[:9], readings)
    rest = random_network(rng, sides=4, persons=1, most_levels=2, pairs=False).parameters
    return (
        Network(
            same,
            Parameters(
                rest.prior,
                rng.uniform(0.1, 0.9, (1, same.link_count)),
                rng.uniform(0.05, 0.3, (1, len(readings))),
                *([np.full((1, len(same.families)), 0.2)] * 2 if same.families else ()),
            ),
        ),
        {r.name: bool(rng.random() < 0.6) for r in readings},
    )


def r_family(reading: Reading) -> tuple:
    return (reading.family, reading.mechanism, ("c0.l",)) if reading.family else ()


def test_switches_give_the_same_answer_as_tables() -> None:
    network, findings = wide(2)
    evidence = observed(network.structure, findings)
    free = widths(network, evidence)
    assert len(free) >= 5
    some = frozenset(evidence.readings[c] for c in sorted(free)[:5])
    tables = solve(network, evidence, switched=frozenset())
    with_switches = solve(network, evidence, switched=some)
    # Five switches: at most some five digits are lost of sixteen.
    assert np.abs(tables.marginal - with_switches.marginal).max() < 1e-10
    assert abs(tables.log_evidence - with_switches.log_evidence)[0] < 1e-10


def test_switches_that_cost_too_many_digits_are_not_used() -> None:
    # Thirty findings present that nothing explains: the probability is about 0.01^30.
    variables = tuple(Variable(f"c{i}") for i in range(12))
    names = tuple(v.name for v in variables)
    readings = tuple(Reading(f"f{i}", names) for i in range(30))
    structure = Structure(variables, readings)
    prior = np.tile(np.array([0.999, 0.001]), (1, 12, 1))
    network = Network(
        structure,
        Parameters(prior, np.full((1, structure.link_count), 0.02), np.full((1, 30), 0.01)),
    )
    evidence = observed(structure, {r.name: True for r in readings})
    assert form_of(problem_of(network, evidence)).work > CHEAP
    assert switches(network, evidence) == frozenset()
    answer = solve(network, evidence)
    exact = brute_force(network, evidence)
    assert np.abs(answer.marginal[0] - exact.marginal).max() < ROUNDING


def test_an_automatic_choice_of_switches_keeps_the_answer() -> None:
    network, findings = wide(5)
    evidence = observed(network.structure, findings)
    tables = solve(network, evidence, switched=frozenset())
    assert np.abs(solve(network, evidence).marginal - tables.marginal).max() < EXACT
