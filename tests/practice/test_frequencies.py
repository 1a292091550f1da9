"""Drawn patients against the network they were drawn from, and angles against published norms.

Expected shares are exact (the engine's elimination), found ones are counted; the number of
comparisons sets the tolerance: with m of them and a risk of one in a thousand that any fails by
chance, |z| stays below the normal quantile of 1 - 0.0005/m.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from sidewise.network import Network, gains, observed
from sidewise.practice.movements import UNLIMITED, Moving, healthy_range, movement_findings
from sidewise.practice.patient_truth import Drawn, SimulatedPerson, draw_truths, network_of
from sidewise.practice.possible_values import blank_record
from sidewise.practice.ways import patient_ways
from sidewise.practice.wishes import Fixed
from tests.shoulder import PROTOCOL, SHOULDER, TABLES

WAYS = patient_ways(SHOULDER)
PERSON = SimulatedPerson(58, "female", "right", ("left",), "orthopaedic")
RISK = 0.001


@pytest.fixture(scope="module")
def network() -> Network:
    return network_of(SHOULDER, PERSON, Fixed({}))


def drawn_patients(network: Network, count: int) -> list[Drawn]:
    return list(draw_truths(network, WAYS, PERSON, count, np.random.default_rng(20)))


def shares_expected(network: Network) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """P(condition), P(reading | condition) and P(reading | no such condition); (V,), (n, V)."""
    told = gains(network, observed(network.structure, {}))
    both = told.if_present * told.chance[:, None]
    with np.errstate(divide="ignore", invalid="ignore"):
        return told.base, both / told.base, (told.chance[:, None] - both) / (1 - told.base)


def compared(network: Network, patients: list[Drawn]) -> tuple[np.ndarray, int]:
    """z of every share whose expected count of yes and of no is at least ten."""
    structure = network.structure
    has = np.array([[one.levels[v.name] > 0 for v in structure.variables] for one in patients])
    names = [reading.name for reading in structure.readings]
    found = np.array([[one.readings[name] for name in names] for one in patients], dtype=float)
    _, sensitivity, false_positive = shares_expected(network)
    scores = []
    for group, expected in ((has, sensitivity), (~has, false_positive)):
        count = group.sum(axis=0).astype(float)
        yes = found.T @ group
        error = np.sqrt(count * expected * (1 - expected))
        enough = (count * expected >= 10) & (count * (1 - expected) >= 10)
        scores.append(((yes - count * expected) / np.where(error > 0, error, 1.0))[enough])
    z = np.concatenate(scores)
    return z, len(z)


def tolerance(comparisons: int) -> float:
    return NormalDist().inv_cdf(1 - RISK / (2 * comparisons))


def test_some_hundred_patients_have_the_sensitivities_of_the_network(network: Network) -> None:
    z, count = compared(network, drawn_patients(network, 600))
    assert count > 3000
    assert np.abs(z).max() < tolerance(count)


@pytest.mark.slow
def test_twenty_thousand_patients_have_the_sensitivities_of_the_network(network: Network) -> None:
    z, count = compared(network, drawn_patients(network, 20_000))
    assert count > 10_000
    assert np.abs(z).max() < tolerance(count)


def test_a_share_that_is_off_would_be_seen(network: Network) -> None:
    """The check can fail: patients of another setting do not pass for these."""
    other = SimulatedPerson(30, "male", "right", ("left",), "primary")
    strange = draw_truths(
        network_of(SHOULDER, other, Fixed({})), WAYS, other, 600, np.random.default_rng(20)
    )
    z, count = compared(network, list(strange))
    assert np.abs(z).max() > tolerance(count)


@pytest.mark.parametrize("item", ["external_rotation_at_side", "abduction"])
def test_healthy_angles_are_as_the_norms_of_age_and_sex(item: str) -> None:
    """Gill et al., BMC Musculoskelet Disord 2020, and the other tables of norms.csv."""
    person = SimulatedPerson(45, "male", "right", (), "primary")
    rng, found = np.random.default_rng(7), []
    for _ in range(150):
        free, build = {"left": UNLIMITED, "right": UNLIMITED}, float(rng.standard_normal())
        moving = Moving(SHOULDER, PROTOCOL, WAYS, person, free, blank_record("shoulder"), build)
        findings = movement_findings(moving, PROTOCOL.item(item), {}, rng)
        found += [f.value.degrees for f in findings if (f.mode, f.side) == ("active", "left")]  # type: ignore[union-attr]
    known = healthy_range(moving, item)
    rows = [row for row in TABLES.usable("norms") if row.number("mean") == known.mean]
    assert rows, "the mean is one that was published"
    error = np.std(found, ddof=1) / len(found) ** 0.5
    # Angles end at 180, and active never exceeds passive: both only lower the mean, by less than 2.
    assert known.mean - 2 - 4 * error < np.mean(found) < known.mean + 4 * error
    assert 0.6 * known.sd < np.std(found, ddof=1) < 1.4 * known.sd
