"""One condition, one finding: the network must be plain Bayes. Published worked examples."""

from __future__ import annotations

import numpy as np
import pytest

from sidewise.network import Network, Parameters, Reading, Structure, Variable, observed, posterior


def post_test(pre: float, sensitivity: float, specificity: float, positive: bool) -> float:
    """Through the network: the leak is 1 - specificity, the link is 1 - LR-."""
    structure = Structure((Variable("condition"),), (Reading("test", ("condition",)),))
    link = 1 - (1 - sensitivity) / specificity
    parameters = Parameters(
        prior=np.array([[[1 - pre, pre]]]),
        link=np.array([[link]]),
        leak=np.array([[1 - specificity]]),
    )
    network = Network(structure, parameters)
    return float(posterior(network, observed(structure, {"test": positive})).present[0])


def from_ratio(ratio: float) -> tuple[float, float]:
    """A sensitivity and specificity with this positive likelihood ratio."""
    specificity = 1 - 0.9 / ratio if ratio > 1 else 0.5
    return (0.9, specificity) if ratio > 1 else (ratio * (1 - specificity), specificity)


@pytest.mark.parametrize(("positive", "expected"), [(True, 0.27675277), (False, 0.00528653)])
def test_a_nomogram_example(positive: bool, expected: float) -> None:
    # Caraguel & Vanderstichel, Evid Based Med 2013;18:125-128: .75, .96, pre-test .02
    # (published readings off the nomogram: about 28%); exact arithmetic here.
    assert post_test(0.02, 0.75, 0.96, positive) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize(
    ("pre", "positive", "expected"),
    [(0.75, True, 0.87832700), (0.75, False, 1 - 0.66666667), (0.25, True, 0.44508671),
     (0.25, False, 1 - 0.94736842)],
)  # fmt: skip
def test_the_liver_scan(pre: float, positive: bool, expected: float) -> None:
    # Altman & Bland, BMJ 1994;308:1552 and 309:102 (the latter from memory): 231, 27, 32, 54.
    found = post_test(pre, 231 / 258, 54 / 86, positive)
    assert found == pytest.approx(expected, abs=1e-7)


@pytest.mark.parametrize(
    ("pre", "ratio", "expected"),
    [(0.5, 10, 0.90909091), (0.1, 5, 0.35714286), (0.3, 2, 0.46153846)],
)
def test_odds_times_likelihood_ratio(pre: float, ratio: float, expected: float) -> None:
    # Plain arithmetic of Bayes' rule in odds.
    assert post_test(pre, *from_ratio(ratio), True) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("sensitivity", [0.3, 0.6, 0.9])
@pytest.mark.parametrize("specificity", [0.5, 0.8, 0.95])
def test_the_link_is_one_minus_the_negative_ratio(sensitivity: float, specificity: float) -> None:
    # Identity of the noisy-OR with one cause: P(present | condition) = 1 - (1 - leak)(1 - link).
    link = 1 - (1 - sensitivity) / specificity
    assert 1 - specificity * (1 - link) == pytest.approx(sensitivity, abs=1e-12)
