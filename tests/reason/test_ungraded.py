"""What was seen and neither measured nor graded: abnormal, and never taken for a number.

What each should come to was written down first, as a clinician reads such words (common practice,
no source); how far a share by eye leans to a loss is our judgement.
"""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.kinds.reduced_by_eye import LEFT
from sidewise.kinds.sign import SignLimits
from sidewise.protocol import criteria as c
from sidewise.reason.judging.flags import flag_book_of, red_flags
from sidewise.reason.judging.grading import Graded, graded_verdict, grading_of
from sidewise.reason.judging.judge import Judge, State, Verdict
from sidewise.record import Finding, Record
from tests.builders import angle, found, record
from tests.shoulder import PROTOCOL, SHOULDER

LOSS = c.SideLoss(test="side_loss", mode="passive", at_least=30, or_fraction=0.5)
ROTATION = "external_rotation_at_side"
GRADING = grading_of(SHOULDER)


def judged(criterion: Any, item: str, *findings: Finding) -> Verdict:
    return Judge(PROTOCOL, record(*findings)).criterion(criterion, item, "left")


def reduced(item: str, mode: str, range_left: str = "reduced", **more: Any) -> Finding:
    return found(item, "left", "reduced_by_eye", mode, range=range_left, **more)


@pytest.mark.parametrize(
    ("left", "state", "weight"),
    [
        ("reduced", State.UNKNOWN, 0),
        ("about three quarters", State.UNKNOWN, 0),
        ("about half", State.SOFT, 2 / 3),
        ("about a quarter", State.SOFT, 0.9),
        ("hardly any", State.SOFT, 0.9),
    ],
)
def test_a_loss_by_eye_leans_to_a_large_loss_by_how_little_is_left(
    left: str, state: State, weight: float
) -> None:
    verdict = judged(LOSS, ROTATION, reduced(ROTATION, "passive", left))
    assert (verdict.state, verdict.weight) == (state, pytest.approx(weight))
    assert verdict.doubt == (state is State.UNKNOWN)
    assert "by eye, not measured" in verdict.because


@pytest.mark.parametrize("left", LEFT)
@pytest.mark.parametrize("limit", [{"at_most": 10.0}, {"at_most": 70.0}, {"at_least": 90.0}])
def test_a_reduced_range_is_never_a_number(left: str, limit: dict[str, float]) -> None:
    verdict = judged(c.Angle(test="angle", mode="passive", **limit), "flexion",
                     reduced("flexion", "passive", left))  # fmt: skip
    assert verdict.state not in (State.MET, State.NOT_MET)
    leans = left == "hardly any" and limit == {"at_most": 70.0}
    assert verdict.state is (State.SOFT if leans else State.UNKNOWN)


def test_a_reduced_range_is_not_normal_and_a_painful_full_one_neither() -> None:
    normal = c.AllNormal(test="normal", mode="active")
    for finding in (
        reduced("flexion", "active"),
        found("flexion", "left", "normal_by_eye", "active", pain=True),
    ):
        assert judged(normal, "flexion", finding).state is State.NOT_MET
    painless = found("flexion", "left", "normal_by_eye", "active", pain=False)
    assert judged(normal, "flexion", painless).state is State.MET


def test_pain_and_end_feel_count_without_a_number() -> None:
    one = reduced("flexion", "passive", pain=True, end_feel="empty")
    pain = c.PainOnMovement(test="movement_pain", mode="passive")
    feel = c.EndFeel(test="end_feel", mode="passive", values=("empty",))
    assert judged(pain, "flexion", one).state is State.MET
    assert judged(feel, "flexion", one).state is State.MET


def test_a_full_range_by_eye_reaches_what_a_manoeuvre_needs() -> None:
    full = found("flexion", "left", "normal_by_eye", "passive")
    reach = c.Angle(test="angle", mode="passive", at_least=120)
    assert judged(reach, "flexion", full).state is State.MET


def test_active_reduced_and_passive_full_by_eye_lean_to_a_gap() -> None:
    gap = c.ActiveGap(test="active_gap", at_least=30, by_eye=45)
    full = found("flexion", "left", "normal_by_eye", "passive")
    assert judged(gap, "flexion", reduced("flexion", "active", "hardly any"), full).weight == 0.9
    assert judged(gap, "flexion", reduced("flexion", "active"), full).doubt
    assert judged(gap, "flexion", reduced("flexion", "active", "hardly any")).doubt


def test_levels_lower_count_without_the_level_itself() -> None:
    item, loss = "internal_rotation_behind_back", c.LevelLoss(test="level_loss", at_least=4)
    for lower, state in ((3, State.NOT_MET), (4, State.MET), (5, State.MET)):
        one = found(item, "left", "level", "active", lower_by=lower)
        assert judged(loss, item, one).state is state
    both = record(found(item, "left", "level", "active", lower_by=6), complaint=["left", "right"])
    # Lower than a side that complains too is lower than nobody knows what.
    assert Judge(PROTOCOL, both).criterion(loss, item, "left").state is State.UNKNOWN


@pytest.mark.parametrize(
    ("below", "state"), [("5", State.MET), ("4+", State.UNKNOWN), ("3", State.UNKNOWN)]
)
def test_power_reduced_without_a_grade_is_below_five_and_below_no_grade(
    below: Any, state: State
) -> None:
    weak = found("abduction_power", "left", "mrc", grade="reduced")
    verdict = judged(c.Power(test="power", below=below), "abduction_power", weak)
    assert (verdict.state, verdict.doubt) == (state, state is State.UNKNOWN)


def test_weak_and_limited_by_pain_is_not_known_to_be_weak() -> None:
    sore = found("abduction_power", "left", "mrc", grade="reduced", limited_by_pain=True)
    verdict = judged(c.Power(test="power", below="5"), "abduction_power", sore)
    assert (verdict.state, verdict.doubt) == (State.UNKNOWN, True)


def test_a_sign_without_its_grade_is_there_and_of_no_grade() -> None:
    thin = found("infraspinatus_bulk", "left", "sign", grade="present")
    assert judged(c.Sign(test="sign"), "infraspinatus_bulk", thin).state is State.MET
    marked = judged(c.Sign(test="sign", at_least="marked wasting"), "infraspinatus_bulk", thin)
    assert (marked.state, marked.doubt) == (State.UNKNOWN, True)


def test_a_painful_arc_without_degrees_is_the_middle_one_softly() -> None:
    arc = found("painful_arc", "left", "arc", painful=True)
    assert judged(c.Arc(test="arc", low=60, high=120), "painful_arc", arc).state is State.SOFT
    high = judged(c.Arc(test="arc", low=160, high=180), "painful_arc", arc)
    assert (high.state, high.doubt) == (State.UNKNOWN, True)


def test_a_head_out_of_place_may_be_in_front_or_behind() -> None:
    word = "out of place but not clear where"
    head = found("humeral_head_place", "left", "choice", choice=word)
    behind = judged(c.OneOf(test="one_of", values=("behind",)), "humeral_head_place", head)
    assert (behind.state, behind.doubt, behind.because) == (State.UNKNOWN, True, word)


def flags_of(one: Record) -> dict[str, str]:
    found = red_flags(Judge(PROTOCOL, one), flag_book_of(SHOULDER))
    return {flag.flag: flag.status for flag in found if flag.status == "raised" or flag.called_for}


def test_a_deltoid_hidden_by_pain_calls_for_the_flag_that_a_weak_one_raises() -> None:
    said = {"age": 62, "history": {"dislocation_reduced": "yes", "injury": "yes"}}
    weak, hidden = (
        flags_of(record(found("deltoid_contraction", "left", "choice", choice=word), **said))
        for word in ("weak", "limited by pain")
    )
    raised = {name for name, status in weak.items() if status == "raised"}
    assert "weak_after_dislocation_over_40" in raised
    assert hidden["weak_after_dislocation_over_40"] == "not excluded"


def test_a_measured_angle_speaks_before_a_look() -> None:
    both = (angle(ROTATION, "left", 60), reduced(ROTATION, "passive", "hardly any"),
            angle(ROTATION, "right", 62))  # fmt: skip
    assert judged(LOSS, ROTATION, *both).state is State.NOT_MET


# --- by how much it weighs ---


def graded(name: str, *findings: Finding) -> Graded:
    reading = PROTOCOL.readings_by_id[name]
    return graded_verdict(Judge(PROTOCOL, record(*findings)), reading, "left", GRADING)


def test_weak_without_a_grade_weighs_as_the_mildest_grade_and_no_more() -> None:
    reading = next(r for r in PROTOCOL.readings if r.item == "external_rotation_power")
    ungraded, mildest, marked = (
        graded(reading.id, found(reading.item, "left", "mrc", grade=grade))
        for grade in ("reduced", "4+", "2")
    )
    assert ungraded.verdict.weight == pytest.approx(mildest.verdict.weight)
    assert ungraded.verdict.weight < marked.verdict.weight
    assert not ungraded.louder.speaks_up


def test_a_sign_without_a_grade_neither_speaks_louder_nor_against() -> None:
    there = {r.id: r for r in PROTOCOL.readings if r.criterion.test == "sign"}
    swept = 0
    for name, reading in there.items():
        limits = PROTOCOL.item(reading.item).kind("sign")
        if not isinstance(limits, SignLimits) or not limits.may_be_ungraded:
            continue
        one = graded(name, found(reading.item, "left", "sign", grade="present"))
        assert one.verdict.state is not State.NOT_MET, name
        assert not one.louder.speaks_up, name
        swept += 1
    assert swept >= 10


def test_every_reading_can_be_weighed_whatever_was_left_ungraded() -> None:
    values: dict[str, list[dict[str, Any]]] = {
        "sign": [{"grade": "present"}], "mrc": [{"grade": "reduced"}],
        "level": [{"lower_by": 5}], "arc": [{"painful": True}],
        "reduced_by_eye": [{"range": word} for word in LEFT], "normal_by_eye": [{"pain": True}],
    }  # fmt: skip
    swept = 0
    for reading in PROTOCOL.readings:
        item = PROTOCOL.by_id.get(reading.item)
        for limits in item.kinds if item else ():
            for value in values.get(limits.kind, ()):
                some = [found(reading.item, "left" if item.paired else "midline", limits.kind, mode,
                              **value) for mode in item.modes or (None,)]  # fmt: skip
                if isinstance(limits, SignLimits) and not (
                    limits.may_be_ungraded or "present" in limits.grades
                ):
                    continue
                verdict = graded(reading.id, *some).verdict
                assert 0 <= verdict.weight <= 1
                swept += 1
    assert swept > 60
