"""Findings of one family: the correlation model and what combinations say of it."""

import numpy as np
import pytest

from sidewise.errors import UserErrors
from sidewise.evidence.conditions import families_of
from sidewise.evidence.fit.correlation import (
    combination_fits,
    predict,
    rho_posterior,
    rho_prior,
)
from sidewise.evidence.fit.fitted import fitted_of, stable_seed
from sidewise.evidence.fit.inputs import inputs_of
from sidewise.evidence.studies.combinations import combinations_of, parse_rule
from sidewise.network import families, family_counts
from tests.shoulder import SHOULDER, with_parts

REGION = SHOULDER
FAMILIES = families_of(REGION)
SHARES = np.array([0.7, 0.4, 0.85])


def counts(rho_s, rho_m, mechanisms=(0, 0, 1)):
    return family_counts(SHARES, mechanisms, np.array([rho_s]), np.array([rho_m]))[0]


def test_without_correlation_the_findings_multiply():
    p = SHARES
    none, all_ = np.prod(1 - p), np.prod(p)
    found = counts(0.0, 0.0)
    assert found[[0, 3]] == pytest.approx([none, all_], abs=1e-12)
    assert found.sum() == pytest.approx(1)


@pytest.mark.parametrize("rho", [(0.2, 0.2), (0.5, 0.1), (0.1, 0.6)])
def test_correlation_leaves_each_finding_as_often_as_it_was(rho):
    found = counts(*rho)
    # The mean number of positives is the sum of the single shares, whatever the correlation.
    # 15 nodes: within 5e-3 at a total of 0.7.
    assert found @ np.arange(4) == pytest.approx(SHARES.sum(), abs=5e-3)


def test_counts_agree_with_simulated_patients():
    from scipy.special import ndtri

    rng = np.random.default_rng(3)
    people, rho_s, rho_m = 400_000, 0.25, 0.2
    z = rng.standard_normal((people, 1))
    u = rng.standard_normal((people, 2))[:, [0, 0, 1]]
    noise = rng.standard_normal((people, 3)) * np.sqrt(1 - rho_s - rho_m)
    seen = ndtri(SHARES) + np.sqrt(rho_s) * z + np.sqrt(rho_m) * u + noise > 0
    simulated = np.bincount(seen.sum(axis=1), minlength=4) / people
    # Four standard errors of a share of 400,000, and the quadrature's 1e-3.
    np.testing.assert_allclose(counts(rho_s, rho_m), simulated, atol=4.2e-3)


def test_prior_means_are_those_of_the_families():
    rho_s, rho_m = rho_prior(FAMILIES, 20_000, np.random.default_rng(1))
    wanted = [family.correlation.mean for family in FAMILIES.families]
    # The approximation of a logistic normal's mean is good to a hundredth or so.
    np.testing.assert_allclose((rho_s + rho_m).mean(axis=0), wanted, atol=0.015)
    assert (rho_s + rho_m).max() <= FAMILIES.pooling.most


def fits():
    inputs = inputs_of(REGION)
    return combination_fits(inputs.combinations, inputs.groups, FAMILIES, inputs.conditions.slices)


def test_three_positives_of_the_published_cluster_are_overstated_by_multiplication():
    # Park et al., J Bone Joint Surg Am 2005: three of three positive, likelihood ratio 10.56;
    # plain multiplication of the two-by-two figures gives 34 (a trial of ours: 31 by level).
    fit = next(f for f in fits() if f.row.id == "C001")
    zero = np.zeros(1)
    assert predict(fit, zero, zero).ratio[0] > 25
    some = predict(fit, np.array([0.3]), np.array([0.1])).ratio[0]
    assert 8 < some < 20


def test_combinations_lower_the_correlation_of_the_cuff_below_its_prior():
    rng = np.random.default_rng(2)
    cuff = FAMILIES.names.index("cuff_bursa")
    before = rho_posterior(FAMILIES, (), 500, np.random.default_rng(2), 1000).structure[:, cuff]
    after = rho_posterior(FAMILIES, fits(), 500, rng, 1000).structure[:, cuff]
    # A trial with the study's own margins found .14 (sd .07) from a prior of .2.
    assert 0.08 < after.mean() < before.mean()
    assert after.std() < before.std()


def test_a_family_without_combinations_keeps_its_prior():
    found = rho_posterior(FAMILIES, fits(), 200, np.random.default_rng(2), 800)
    assert found.effective[FAMILIES.names.index("winging")] == pytest.approx(800)


def exact_counts(shares, mechanisms, rho_s, rho_m):
    """Written apart from the program: z and u of each mechanism by 61 Gauss-Hermite nodes."""
    from scipy.special import ndtr, ndtri

    x, w = np.polynomial.hermite_e.hermegauss(61)
    w = w / w.sum()
    found = np.zeros(len(shares) + 1)
    for z, weight in zip(x, w, strict=True):
        total = np.ones(1)
        for mechanism in set(mechanisms):
            at_node = np.ones((len(x), 1))
            for p, own in zip(shares, mechanisms, strict=True):
                if own == mechanism:
                    shift = np.sqrt(rho_s) * z + np.sqrt(rho_m) * x
                    seen = ndtr((ndtri(p) + shift) / np.sqrt(1 - rho_s - rho_m))[:, None]
                    none_more, one_more = (
                        np.pad(at_node, [(0, 0), (0, 1)]),
                        np.pad(at_node, [(0, 0), (1, 0)]),
                    )
                    at_node = (1 - seen) * none_more + seen * one_more
            total = np.convolve(total, w @ at_node)
        found += weight * total
    return found


def error_bound(findings, several, r):
    """Error of the trapezoid rule over a normal density times Phi(a x + b), `findings` of them.

    With step h it is 2 exp(-w^2 s^2 / 2), w = 2 pi / h, where s^2 = 1 / (1 + n r / (1 - r)) is the
    variance left once n findings were seen (Trefethen and Weideman, SIAM Review 2014; 56:385-458),
    and the mass beyond the grid. Two mechanisms: also that of the table that joins them, 1e-4 by
    its choice of the narrowest width (`families.RESOLVED`).
    """
    from scipy.special import ndtr

    half = families.WIDEST - families.NARROWING * r
    step = 2 * half / (families.NODES - 1)
    left = 1 / (1 + findings * r / (1 - r))
    joint = 2 * np.exp(-2 * np.pi**2 * families.RESOLVED**2) if several else 0.0
    return 2 * np.exp(-2 * np.pi**2 * left / step**2) + 2 * ndtr(-half) + joint


def test_the_rule_of_fit_and_use_is_as_exact_as_its_theory_says():
    grid = [(0.0, 0.0), (0.1, 0.1), (0.3, 0.0), (0.0, 0.3), (0.2, 0.25), (0.3, 0.3), (0.5, 0.25)]
    rho_s, rho_m = np.array(grid).T
    swept = 0
    for fit in fits():
        mechanisms = list(fit.mechanisms)
        for margins in fit.margins:
            found = family_counts(margins.shares, mechanisms, rho_s, rho_m)
            for row, (s, m) in enumerate(grid):
                expected = exact_counts(margins.shares, mechanisms, s, m)
                bound = error_bound(len(mechanisms), len(set(mechanisms)) > 1, s + m)
                assert np.abs(found[row] - expected).max() < bound, (fit.row.id, s, m)
                swept += 1
    assert swept == len(grid) * 32


def test_the_shipped_correlations_are_those_the_present_rule_gives():
    # They were drawn when the fit had a rule of its own; were they others now, they would have to
    # be drawn again. Rounded to 1/4096 when shipped.
    rng = np.random.default_rng(stable_seed(REGION.id, "correlation"))
    shipped = fitted_of(SHOULDER)
    found = rho_posterior(FAMILIES, fits(), len(shipped.rho_s), rng)
    assert np.abs(found.structure - shipped.rho_s).max() <= 0.5 / 4096 + 1e-7
    assert np.abs(found.mechanism - shipped.rho_m).max() <= 0.5 / 4096 + 1e-7


def test_every_combination_is_used_or_says_why_not():
    rows = combinations_of(REGION)
    assert len(rows) == 39
    assert all(row.source for row in rows)
    assert all(row.why_not for row in rows if row.use != "fit")
    assert len(fits()) == sum(row.use == "fit" for row in rows) == 8


def test_rules_of_combinations_are_understood():
    assert parse_rule("all", 3, "x") == (3, 3)
    assert parse_rule("exactly 2", 3, "x") == (2, 2)
    assert parse_rule("at least 2", 3, "x") == (2, 3)
    assert parse_rule("any", 3, "x") == (1, 3)


def test_an_unknown_rule_is_refused():
    from sidewise.errors import UserError

    with pytest.raises(UserError, match="exactly k or at least k"):
        parse_rule("most", 3, "combination C1")


def test_a_combination_of_unknown_readings_is_refused():
    rows = [
        {**row, "readings": row["readings"].replace("hawkins_pain;", "no_such_sign;")}
        for row in REGION.part("combinations")
    ]
    with pytest.raises(UserErrors, match="no_such_sign"):
        combinations_of(with_parts(REGION, combinations=rows))
