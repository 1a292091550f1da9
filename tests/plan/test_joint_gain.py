"""What readings tell together: the sample against the sum over every result, and single gains."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from sidewise.network import gains, observed_rows, solve
from sidewise.plan import presentation
from sidewise.plan.joint_gain import joint_gain
from sidewise.plan.outlook import Expected, outlook
from tests.shoulder import SHOULDER


@pytest.fixture(scope="module")
def expected() -> Expected:
    found = outlook(presentation("shoulder", "left", 55), SHOULDER).expected
    assert found is not None
    return found


def numbers_of(expected: Expected, *names: str) -> tuple[int, ...]:
    index = expected.weighing.layout.structure.reading_index
    return tuple(index[name] for name in names)


def exact(expected: Expected, readings: tuple[int, ...]) -> float:
    """The gain summed over every combination of results."""
    network, keep = expected.weighing.mean, list(expected.interest)
    results = np.array(list(product([0.0, 1.0], repeat=len(readings))))
    answer = solve(network, observed_rows(readings, results))
    chance = np.exp(answer.log_evidence)
    assert chance.sum() == pytest.approx(1.0, abs=1e-9)
    return doubt(solve(network, expected.weighing.evidence).marginal[:, keep])[0] - float(
        chance @ doubt(answer.marginal[:, keep])
    )


def doubt(marginal: np.ndarray) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return -np.nansum(marginal * np.log2(marginal), axis=(1, 2))


def test_the_sample_holds_the_sum_over_every_result(expected: Expected) -> None:
    readings = numbers_of(
        expected, "neer_pain.left", "hawkins_pain.left", "passive_external_rotation_loss.left"
    )
    truth = exact(expected, readings)
    found = joint_gain(
        expected.weighing.mean, expected.weighing.evidence, readings, expected.interest, 5, 240
    )
    error = (found.high - found.low) / (2 * 1.96)
    # Four standard errors: by chance alone once in 16,000.
    assert abs(found.bits - truth) < 4 * error


def test_one_reading_tells_its_own_gain(expected: Expected) -> None:
    (reading,) = numbers_of(expected, "passive_external_rotation_loss.left")
    network, evidence = expected.weighing.mean, expected.weighing.evidence
    alone = gains(network, evidence, [reading], list(expected.interest)).bits[0]
    assert exact(expected, (reading,)) == pytest.approx(alone, abs=1e-9)


def test_twins_tell_less_than_the_sum_of_both(expected: Expected) -> None:
    pair = numbers_of(expected, "neer_pain.left", "hawkins_pain.left")
    assert exact(expected, pair) < sum(exact(expected, (one,)) for one in pair)


def test_nothing_examined_tells_nothing(expected: Expected) -> None:
    found = joint_gain(expected.weighing.mean, expected.weighing.evidence, (), expected.interest, 1)
    assert (found.bits, found.low, found.high) == (0.0, 0.0, 0.0)
    assert found.before > 1
