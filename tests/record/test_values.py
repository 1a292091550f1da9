"""Values and findings check themselves when made."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from sidewise.errors import UserError
from sidewise.record import check_finding
from tests.builders import angle, found, negative, positive, record, unable
from tests.shoulder import PROTOCOL


@pytest.mark.parametrize("degrees", [-180, 0, 360])
def test_an_angle_inside_the_limits_is_kept(degrees: float) -> None:
    assert angle("flexion", "left", degrees).value.degrees == degrees


@pytest.mark.parametrize("degrees", [-180.1, 360.1, float("nan"), float("inf")])
def test_an_angle_outside_the_limits_is_refused(degrees: float) -> None:
    with pytest.raises(ValidationError, match="degrees"):
        angle("flexion", "left", degrees)


def test_an_arc_needs_both_ends_or_painless() -> None:
    assert found("painful_arc", "left", "arc", painless=True).value.painless
    with pytest.raises(ValidationError, match="from and to, or painful: true"):
        found("painful_arc", "left", "arc", **{"from": 60})


def test_an_arc_cannot_run_backwards() -> None:
    with pytest.raises(ValidationError, match="from must not be above to"):
        found("painful_arc", "left", "arc", **{"from": 110, "to": 60})


def test_a_negative_result_cannot_reproduce_anything() -> None:
    with pytest.raises(ValidationError, match="reproduces nothing"):
        found("neer", "left", "result", result="negative", pain=True)


def test_a_positive_result_must_have_reproduced_something() -> None:
    every = dict.fromkeys(PROTOCOL.aspects, False)
    with pytest.raises(UserError, match="must have reproduced"):
        check_finding(positive("neer", "left", **every), PROTOCOL)


def test_an_examined_finding_needs_a_value() -> None:
    with pytest.raises(ValidationError, match="needs a value"):
        type(negative("neer", "left")).model_validate({"item": "neer", "side": "left"})


def test_unable_needs_a_reason() -> None:
    with pytest.raises(ValidationError, match="a reason is needed"):
        unable("neer", "left", reason=" ")


def test_two_values_in_one_slot_are_a_conflict() -> None:
    both = record(angle("flexion", "left", 120), angle("flexion", "left", 130))
    assert [conflict.item for conflict in both.conflicts] == ["flexion"]
    assert both.at("flexion", "left", "passive") == ()


def test_repeats_instruments_and_equal_values_are_no_conflict() -> None:
    same = record(
        angle("flexion", "left", 120, instrument="goniometer"),
        angle("flexion", "left", 125, instrument="eye"),
        angle("flexion", "left", 120, instrument="goniometer"),
    )
    assert same.conflicts == ()


def test_examined_and_unable_at_one_place_contradict() -> None:
    both = record(positive("neer", "left", pain=True), unable("neer", "left"))
    assert len(both.conflicts) == 1


def test_marks_on_the_figure_add_up() -> None:
    scars = record(
        found("scars", "left", "place", what="scar", view="front"),
        found("scars", "left", "place", what="scar", view="back"),
    )
    assert scars.conflicts == ()
    assert len(scars.at("scars", "left")) == 2


def test_a_side_with_a_complaint_or_surgery_is_no_yardstick() -> None:
    plain = record()
    operated = record(known={"right": {"surgery": True}})
    assert plain.is_yardstick("right")
    assert not plain.is_yardstick("left")
    assert not operated.is_yardstick("right")
