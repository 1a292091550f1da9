"""What a teacher fixes on one side moves the other as the network has it.

The check is the plain definition of a conditional share: of many people nobody fixed anything in,
those who happen to have it on that side.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest

from sidewise import network as engine
from sidewise.evidence.conditions import conditions_of
from sidewise.practice.patient_truth import SimulatedPerson, network_of
from sidewise.practice.wishes import Fixed
from tests.shoulder import SHOULDER

PERSON = SimulatedPerson(65, "female", "right", ("left",), "primary")
MANY = 60_000


def people(fixed: Fixed, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Levels of the cuff at the left, which complains, and at the right."""
    network = network_of(SHOULDER, PERSON, fixed)
    levels = engine.simulate_records(network, count, np.random.default_rng(11), []).levels
    names = [one.name for one in network.structure.variables]
    return levels[:, names.index("cuff.left")], levels[:, names.index("cuff.right")]


@pytest.fixture(scope="module")
def anybody() -> tuple[np.ndarray, np.ndarray]:
    return people(Fixed({}), MANY)


@pytest.mark.parametrize("words", ["none", "full-thickness tear"])
def test_the_other_side_is_as_in_people_who_have_it_by_chance(words, anybody) -> None:
    level = conditions_of(SHOULDER).by_id["cuff"].levels.index(words)
    _, other = people(Fixed({"cuff": (level,)}), 4000)
    left, right = anybody
    alike = right[left == level]
    assert len(alike) > 1000
    for one in range(len(conditions_of(SHOULDER).by_id["cuff"].levels)):
        share = (alike == one).mean()
        # Four standard errors of a difference of two shares.
        error = sqrt(max(share * (1 - share), 1 / 4000) * (1 / len(other) + 1 / len(alike)))
        assert abs((other == one).mean() - share) < 4 * error


def test_a_fixed_tear_makes_a_tear_of_the_other_side_likelier(anybody) -> None:
    levels = conditions_of(SHOULDER).by_id["cuff"].levels
    tear = levels.index("full-thickness tear")
    _, other = people(Fixed({"cuff": (tear,)}), 4000)
    assert (other == tear).mean() > 1.5 * (anybody[1] == tear).mean()
