"""Criteria on records: met, not met, soft, unknown; unknown is never read as normal."""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.protocol import criteria as c
from sidewise.reason.judging.judge import EQUIVOCAL, JUDGES, Judge, State
from sidewise.record import Record
from tests.builders import angle, found, negative, positive, record, unable
from tests.shoulder import PROTOCOL

LOSS = c.SideLoss(test="side_loss", mode="passive", at_least=30, or_fraction=0.5)
ROTATION = "external_rotation_at_side"


def judged(criterion: Any, item: str, one: Record, side: str = "left", sem: float = 0) -> Any:
    return Judge(PROTOCOL, one, lambda *_: sem or None).criterion(criterion, item, side)


def state(criterion: Any, item: str, one: Record, **more: Any) -> State:
    return judged(criterion, item, one, **more).state


def test_every_criterion_of_the_closed_set_has_a_judge() -> None:
    tests = {m.model_fields["test"].annotation.__args__[0] for m in c.Criterion.__origin__.__args__}  # type: ignore[attr-defined]
    assert tests == set(JUDGES)
    assert len(tests) == 21


@pytest.mark.parametrize("name", sorted(JUDGES))
def test_what_was_not_examined_is_unknown(name: str) -> None:
    fields: dict[str, Any] = {
        "result": {"aspect": ("pain",)},
        "angle": {"mode": "passive", "at_most": 70},
        "side_loss": {"mode": "passive", "at_least": 30},
        "side_gain": {"mode": "passive", "at_least": 20},
        "active_gap": {"at_least": 20},
        "movement_pain": {"mode": "active"},
        "end_feel": {"mode": "passive", "values": ("empty",)},
        "arc": {"low": 60, "high": 120},
        "power": {"below": "5"},
        "one_of": {"values": ("x",)},
        "level_loss": {"at_least": 2},
        "count": {"at_least": 4},
        "length": {"at_least": 2},
        "seconds": {"at_most": 60},
        "vital": {"at_least": 38},
        "vital_gap": {"at_least": 20},
    }
    models = {
        m.model_fields["test"].annotation.__args__[0]: m for m in c.Criterion.__origin__.__args__
    }  # type: ignore[attr-defined]
    criterion = models[name](test=name, **fields.get(name, {}))
    item = "fever" if name == "answer" else "temperature" if name == "vital" else ROTATION
    assert state(criterion, item, record()) is State.UNKNOWN


@pytest.mark.parametrize(("degrees", "expected"), [(36, "not met"), (35, "met"), (34, "met")])
def test_a_loss_counts_from_its_threshold_on(degrees: float, expected: str) -> None:
    one = record(angle(ROTATION, "left", degrees), angle(ROTATION, "right", 65))
    assert state(LOSS, ROTATION, one) == expected


def test_less_than_half_counts_even_when_the_degrees_do_not() -> None:
    one = record(angle(ROTATION, "left", 15), angle(ROTATION, "right", 35))
    assert state(LOSS, ROTATION, one) is State.MET


def test_an_angle_within_error_of_its_threshold_is_soft() -> None:
    criterion = c.Angle(test="angle", mode="passive", at_most=70)
    verdict = judged(criterion, "flexion", record(angle("flexion", "left", 72)), sem=4)
    assert verdict.state is State.SOFT
    # One half error above: Phi(-0.5) = 0.3085 (standard normal table).
    assert verdict.weight == pytest.approx(0.3085, abs=1e-4)


def test_a_side_with_a_complaint_is_no_yardstick() -> None:
    one = record(
        angle(ROTATION, "left", 20), angle(ROTATION, "right", 65), complaint=["left", "right"]
    )
    assert state(LOSS, ROTATION, one) is State.UNKNOWN
    with_norm = LOSS.model_copy(update={"norm_at_most": 30})
    assert state(with_norm, ROTATION, one) is State.MET


def test_an_aspect_that_was_not_stated_is_unknown() -> None:
    weakness = c.Result(test="result", aspect=("weakness",))
    either = c.Result(test="result", aspect=())
    one = record(positive("empty_can", "left", pain=True))
    assert state(weakness, "empty_can", one) is State.UNKNOWN
    assert state(either, "empty_can", one) is State.MET
    stated = record(positive("empty_can", "left", pain=True, weakness=False))
    assert state(weakness, "empty_can", stated) is State.NOT_MET


def test_a_manoeuvre_of_one_aspect_says_it_by_being_positive() -> None:
    pain = c.Result(test="result", aspect=("pain",))
    assert state(pain, "neer", record(positive("neer", "left"))) is State.MET
    assert state(pain, "neer", record(negative("neer", "left"))) is State.NOT_MET


def test_an_equivocal_result_is_soft() -> None:
    one = record(found("neer", "left", "result", result="equivocal"))
    verdict = judged(c.Result(test="result", aspect=("pain",)), "neer", one)
    assert (verdict.state, verdict.weight) == (State.SOFT, EQUIVOCAL)


def test_weakness_from_pain_is_not_weakness() -> None:
    weak = c.Power(test="power", below="5")
    painful = record(found("abduction_power", "left", "mrc", grade="4", limited_by_pain=True))
    assert state(weak, "abduction_power", painful) is State.UNKNOWN
    true = record(found("abduction_power", "left", "mrc", grade="4"))
    assert state(weak, "abduction_power", true) is State.MET


def test_unable_and_conflict_are_unknown() -> None:
    pain = c.Result(test="result", aspect=("pain",))
    assert state(pain, "neer", record(unable("neer", "left"))) is State.UNKNOWN
    both = record(positive("neer", "left"), negative("neer", "left"))
    assert state(pain, "neer", both) is State.UNKNOWN


def test_repeats_that_disagree_are_soft() -> None:
    again = negative("neer", "left").model_copy(update={"repeat": 2})
    one = record(positive("neer", "left"), again)
    assert state(c.Result(test="result", aspect=("pain",)), "neer", one) is State.SOFT


def test_a_question_answered_unsure_is_unknown() -> None:
    asked = c.Answer(test="answer")
    for answer, expected in (("yes", "met"), ("no", "not met"), ("unsure", "unknown")):
        assert state(asked, "fever", record(history={"fever": answer})) == expected


def test_normal_by_eye_has_no_loss_but_no_gain_either() -> None:
    one = record(found(ROTATION, "left", "normal_by_eye", "passive"))
    gain = c.SideGain(test="side_gain", mode="passive", at_least=20)
    assert state(LOSS, ROTATION, one) is State.NOT_MET
    assert state(gain, ROTATION, one) is State.UNKNOWN


@pytest.mark.parametrize(("seconds", "expected"), [(1, "not met"), (2, "not met"), (3, "met")])
def test_more_than_two_seconds_is_slow(seconds: float, expected: str) -> None:
    # Refill within 2 s is quick: common practice, no source.
    slow = c.Seconds(test="seconds", over=2)
    one = record(found("capillary_refill", "left", "seconds", seconds=seconds))
    assert state(slow, "capillary_refill", one) == expected


def test_no_symptoms_in_the_time_held_is_no_time() -> None:
    slow = c.Seconds(test="seconds", over=2)
    one = record(found("capillary_refill", "left", "seconds", none=True))
    assert state(slow, "capillary_refill", one) is State.UNKNOWN


@pytest.mark.parametrize("limits", [{}, {"at_most": 60, "over": 2}])
def test_a_time_has_one_limit(limits: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="either at_most or over"):
        c.Seconds(test="seconds", **limits)


@pytest.mark.parametrize(
    ("feel", "expected"), [("empty", "met"), ("firm", "not met"), (None, "unknown")]
)
def test_an_end_feel_counts_only_when_stated(feel: Any, expected: str) -> None:
    empty = c.EndFeel(test="end_feel", mode="passive", values=("empty",))
    one = record(angle(ROTATION, "left", 20, end_feel=feel))
    assert state(empty, ROTATION, one) == expected


def test_normal_in_one_mode_says_nothing_of_the_other() -> None:
    passive = c.AllNormal(test="normal", mode="passive")
    assert state(
        passive, "flexion", record(found("flexion", "left", "normal_by_eye", "active"))
    ) is (State.UNKNOWN)
    assert state(
        passive, "flexion", record(found("flexion", "left", "normal_by_eye", "passive"))
    ) is (State.MET)
