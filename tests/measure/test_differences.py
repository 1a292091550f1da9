"""Left against right in a record."""

from __future__ import annotations

import pytest

from sidewise.ground.interval import Z95
from sidewise.measure import side_differences
from sidewise.measure.sides.differences import SideDifference
from sidewise.protocol import Protocol
from sidewise.record import Record
from tests.measure.cast import angle, force, level, visit
from tests.shoulder import TABLES

ER = "external_rotation_at_side"


def _only(record: Record, protocol: Protocol) -> SideDifference:
    (found,) = side_differences(record, protocol, TABLES)
    return found


def _pair(left: float, right: float, item: str = ER, **context: object) -> Record:
    return visit(angle(item, "left", left), angle(item, "right", right), **context)


@pytest.mark.parametrize(("left", "real"), [(15, True), (40, True), (41, False), (52, False)])
def test_side_difference_in_external_rotation(protocol: Protocol, left: float, real: bool) -> None:
    # Healthy spread 1.96 * 9.9 = 19.4; error 1.96 sqrt 2 * 5.4 = 15.0.
    found = _only(_pair(left, 60), protocol)
    assert found.real is real
    assert found.threshold == pytest.approx(19.4, abs=0.05)
    assert found.error == pytest.approx(15.0, abs=0.05)


def test_sentence_names_sides_size_and_threshold(protocol: Protocol) -> None:
    sentence = _only(_pair(15, 60), protocol).sentence
    assert "left 15, right 60 degrees" in sentence
    assert "The left reads 45 degrees less: a real difference (up to 19 degrees" in sentence


def test_frozen_joint_threshold_is_the_clinical_one(protocol: Protocol) -> None:
    found = _only(_pair(20, 60), protocol)
    assert found.clinical == 30
    assert found.clinical_probability == pytest.approx(0.905, abs=0.001)  # Phi(10 / 7.637).


def test_equal_sides_have_no_difference(protocol: Protocol) -> None:
    found = _only(_pair(60, 60), protocol)
    assert (found.difference, found.real, found.probability) == (0, False, 0.5)


def test_by_eye_the_published_error_is_already_of_a_difference(
    protocol: Protocol,
) -> None:
    sides = [
        angle("flexion", "left", 130, instrument="eye"),
        angle("flexion", "right", 155, instrument="eye"),
    ]
    found = _only(visit(*sides), protocol)
    assert found.real is False
    assert found.error == pytest.approx(Z95 * 15.9)


def test_right_handed_thrower_pattern_is_not_a_difference(protocol: Protocol) -> None:
    # Dominant external rotation at 90 is larger in health by 4.74 (Conte et al. 2009).
    found = _only(_pair(70, 96, "external_rotation_at_90"), protocol)
    assert found.real is False
    assert _only(_pair(96, 70, "external_rotation_at_90"), protocol).real is True


def test_left_handed_mirror(protocol: Protocol) -> None:
    right = _only(_pair(70, 97, "external_rotation_at_90", dominant="right"), protocol)
    left = _only(
        _pair(97, 70, "external_rotation_at_90", dominant="left", complaint=["right"]), protocol
    )
    assert right.threshold == left.threshold
    assert right.real == left.real


@pytest.mark.parametrize(
    "context",
    [
        {"complaint": ["left", "right"]},
        {"known": {"right": {"tear": True}}},
        {"known": {"right": {"surgery": True}}},
        {"known": {"right": {"replacement": True}}},
    ],
)
def test_other_side_that_is_not_healthy_is_no_yardstick(
    protocol: Protocol, context: dict[str, object]
) -> None:
    found = _only(_pair(15, 60, **context), protocol)
    assert (found.real, found.probability, found.threshold) == (None, None, None)
    assert "Neither side can serve as the yardstick" in found.sentence


def test_not_examined_side_gives_no_difference(protocol: Protocol) -> None:
    record = visit(
        angle(ER, "left", 15),
        {"item": ER, "side": "right", "mode": "passive", "status": "not examined"},
    )
    assert side_differences(record, protocol, TABLES) == ()


def test_conflicting_readings_give_no_difference(protocol: Protocol) -> None:
    record = visit(angle(ER, "left", 15), angle(ER, "left", 40), angle(ER, "right", 60))
    assert side_differences(record, protocol, TABLES) == ()


def test_repeats_are_averaged(protocol: Protocol) -> None:
    record = visit(angle(ER, "left", 10), angle(ER, "left", 20, repeat=2), angle(ER, "right", 60))
    assert _only(record, protocol).left == 15


def test_different_instruments_on_the_sides_are_not_compared(protocol: Protocol) -> None:
    record = visit(angle(ER, "left", 15), angle(ER, "right", 60, instrument="inclinometer"))
    assert side_differences(record, protocol, TABLES) == ()


def test_missing_instrument_takes_the_error_by_eye_and_says_so(protocol: Protocol) -> None:
    record = visit(angle(ER, "left", 15, instrument=None), angle(ER, "right", 60, instrument=None))
    found = _only(record, protocol)
    assert "Instrument not recorded" in found.cautions[0]
    assert found.error == pytest.approx(Z95 * 2**0.5 * 23)


def test_unknown_dominance_is_said(protocol: Protocol) -> None:
    found = _only(_pair(60, 90, "external_rotation_at_90", dominant=None), protocol)
    assert any("Dominant side not recorded" in caution for caution in found.cautions)


def test_force_is_judged_as_a_share_of_the_mean(protocol: Protocol) -> None:
    found = _only(visit(force("left", 40), force("right", 72)), protocol)
    assert found.real is True
    assert found.error == pytest.approx(Z95 * 2**0.5 * 0.086 * 56)


def test_level_one_or_two_lower_on_the_dominant_side_is_usual(protocol: Protocol) -> None:
    record = visit(level("left", "T7"), level("right", "T9"), complaint=["right"])
    assert _only(record, protocol).real is False
    record = visit(level("left", "T7"), level("right", "T12"), complaint=["right"])
    found = _only(record, protocol)
    assert (found.left_shown, found.right_shown, found.real) == ("T7", "T12", True)


def test_sources_are_named_with_their_mark(protocol: Protocol) -> None:
    found = _only(_pair(15, 60), protocol)
    assert len(found.sources) == 3
    assert all(source.endswith("]") for source in found.sources)


def test_order_of_findings_does_not_matter(protocol: Protocol) -> None:
    sides = [
        angle(ER, "left", 15),
        angle(ER, "right", 60),
        angle("flexion", "left", 120),
        angle("flexion", "right", 160),
    ]
    assert side_differences(visit(*sides), protocol, TABLES) == side_differences(
        visit(*sides[::-1]), protocol, TABLES
    )
