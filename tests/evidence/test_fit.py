"""The fit of one reading: its likelihood, what it recovers, and its draws."""

import numpy as np
import pytest

from sidewise.evidence.fit.links import JudgedLink, measured_columns, reading_prior
from sidewise.evidence.fit.reading_fit import (
    Posterior,
    fit_reading,
    logit_normal_binomial,
    prior_draws,
)
from sidewise.evidence.studies.groups import PatientGroup
from tests.shoulder import CONDITIONS

CUFF = CONDITIONS.slices["cuff"]


def judged(condition, level, guess, kind="our judgement"):
    return JudgedLink("sign", condition, level, guess, kind, "our judgement", "a guess")


def prior(monotone=False, measured=(0, 1, 2), links=()):
    return reading_prior("sign", monotone, links, frozenset(measured), CONDITIONS)


def group(levels, positive, size, diseased):
    array = np.zeros(len(CONDITIONS.columns))
    array[: len(levels)] = levels
    return PatientGroup("sign", "S", "g", array, positive, size, diseased, 1.0, ("X1",))


@pytest.mark.parametrize(("positive", "size"), [(3, 20), (55, 60), (215, 552)])
@pytest.mark.parametrize("tau", [0.2, 0.8, 1.5])
def test_study_effects_are_integrated_as_by_quadrature(positive, size, tau):
    from scipy.integrate import quad
    from scipy.special import expit

    centre = 0.4
    found = logit_normal_binomial(
        *(np.array([[x]]) for x in (positive, size, centre, tau))
    )[0, 0] + 0.0  # fmt: skip

    def integrand(u):
        p = expit(centre + u)
        value = positive * np.log(p) + (size - positive) * np.log1p(-p) - found
        return np.exp(value - 0.5 * (u / tau) ** 2) / (tau * np.sqrt(2 * np.pi))

    # Laplace's error in the log is of the order of 1/n; 3 of 20 is the hardest case here.
    whole = quad(integrand, -12 * tau, 12 * tau, limit=400, epsabs=0, epsrel=1e-9)[0]
    assert np.log(whole) == pytest.approx(0, abs=0.03)


def test_without_rows_the_draws_are_those_of_the_prior():
    mine = prior(measured=(), links=(judged("frozen", 1, 0.9),))
    found = fit_reading(mine, (), 4000, np.random.default_rng(1))
    logits = np.log(found.draws.links[:, 0] / (1 - found.draws.links[:, 0]))
    # Standard error of the mean of 4,000 standard normals: .016; four of them.
    assert logits.mean() == pytest.approx(np.log(9), abs=0.064)
    assert logits.std() == pytest.approx(1, abs=0.05)


def simulated_groups(leak, links, studies, tau, seed):
    """Studies of 200 with disjoint groups of no disease and each level, from known parameters."""
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(studies):
        shift = dict(zip((True, False), tau * rng.standard_normal(2), strict=True))
        for level in range(4):
            levels = np.eye(3)[level - 1] if level else np.zeros(3)
            p = 1 - (1 - leak) * (1 - (links[level - 1] if level else 0))
            logit = np.log(p / (1 - p)) + shift[level > 0]
            positive = rng.binomial(50, 1 / (1 + np.exp(-logit)))
            found.append(group(levels, int(positive), 50, level > 0))
    return found


@pytest.mark.parametrize("monotone", [False, True])
def test_known_links_and_leak_are_recovered_from_many_studies(monotone):
    truth = (0.15, np.array([0.2, 0.5, 0.7]))
    groups = simulated_groups(*truth, studies=30, tau=0.3, seed=4)
    found = fit_reading(prior(monotone), groups, 400, np.random.default_rng(5)).draws
    draws = np.hstack([found.leak[:, None], found.links])
    z = (draws.mean(axis=0) - np.array([truth[0], *truth[1]])) / draws.std(axis=0)
    assert np.abs(z).max() < 3.5
    assert draws.std(axis=0).max() < 0.06


def test_links_of_a_monotone_reading_never_fall_with_the_level():
    groups = simulated_groups(0.1, np.array([0.6, 0.3, 0.1]), studies=8, tau=0.3, seed=6)
    links = fit_reading(prior(True), groups, 200, np.random.default_rng(7)).draws.links
    assert (np.diff(links, axis=1) >= 0).all()


def test_the_spread_between_studies_is_recovered():
    groups = simulated_groups(0.2, np.array([0.5, 0.5, 0.5]), studies=40, tau=0.9, seed=8)
    found = fit_reading(prior(), groups, 400, np.random.default_rng(9)).draws
    # Groups of a study share their shift in this simulation but not in the model, so the
    # spread is judged by the interval only.
    low, high = np.quantile(found.tau_se, [0.025, 0.975])
    assert low < 0.9 < high + 0.15


def test_with_one_study_the_spread_between_studies_is_its_prior():
    groups = simulated_groups(0.2, np.array([0.5, 0.5, 0.5]), studies=1, tau=0.0, seed=10)[:1]
    found = fit_reading(prior(), groups, 600, np.random.default_rng(11)).draws
    # Half-normal(1): mean .798, sd .603; no diseased group, so exactly the prior.
    assert found.tau_se.mean() == pytest.approx(0.798, abs=4 * 0.603 / np.sqrt(300))


def test_draws_agree_with_a_much_longer_chain_of_another_kind():
    groups = simulated_groups(0.2, np.array([0.3, 0.5, 0.6]), studies=3, tau=0.5, seed=12)
    mine = prior()
    found = fit_reading(mine, groups, 500, np.random.default_rng(13)).draws
    exact = importance_means(mine, groups)
    draws = np.hstack([found.leak[:, None], found.links])
    # Both are estimates: .045 sd from 500 draws, and the importance sample's own.
    assert np.abs((draws.mean(axis=0) - exact) / draws.std(axis=0)).max() < 0.3


def importance_means(mine, groups):
    """Posterior means of leak and links by weighting draws of the prior: slow and plain."""
    posterior = Posterior(mine, groups)
    rng = np.random.default_rng(14)
    theta = np.vstack([prior_draws(mine, 20_000, rng) for _ in range(10)])
    likelihood = np.concatenate(
        [posterior(part) - posterior.log_prior(part) for part in np.array_split(theta, 10)]
    )
    weight = np.exp(likelihood - likelihood.max())
    natural = posterior.natural(theta)
    values = np.hstack([natural.leak[:, None], natural.links])
    assert 1 / ((weight / weight.sum()) ** 2).sum() > 200
    return (values * weight[:, None]).sum(axis=0) / weight.sum()


def test_a_weak_row_moves_a_link_less():
    strong = [group(np.eye(3)[2], 45, 50, True), group(np.zeros(3), 5, 50, False)]
    weak = [PatientGroup(*(g.__dict__ | {"weight": 0.1}).values()) for g in strong]
    spread = [
        fit_reading(prior(), groups, 300, np.random.default_rng(15)).draws.links[:, 2].std()
        for groups in (strong, weak)
    ]
    assert spread[0] < spread[1]


def test_a_measured_condition_brings_all_its_levels():
    rows = ()
    assert measured_columns(rows, (), CONDITIONS) == frozenset()
    assert prior(measured=(2,)).columns == (0, 1, 2)
    assert prior(measured=(2,)).kinds == ("our judgement", "our judgement", "measured")


def test_a_sign_that_defines_a_condition_has_a_small_leak():
    links = (judged("frozen", 1, 0.97, "by definition"), judged("", 0, 0.002, "by definition"))
    found = fit_reading(prior(measured=(), links=links), (), 1000, np.random.default_rng(16))
    # .0005 and a logit of sd .5 around the rest: 97.5th centile .0005 + .0015 e^(1.96 / 2) = .0045.
    assert np.median(found.draws.leak) == pytest.approx(0.002, abs=0.0002)
    assert np.quantile(found.draws.leak, 0.975) == pytest.approx(0.0045, abs=0.0007)
    assert found.draws.leak.min() >= 0.0005
