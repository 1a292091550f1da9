"""What a step costs and is worth, and the order of steps.

Common practice, no source: a patient is not made to sit and lie by turns, a sore test is not done
for little, and at an emergency one stops.
"""

from __future__ import annotations

import pytest

from sidewise.reason import interpret
from sidewise.reason.weighing.step_worth import (
    COUCH_SECONDS,
    SORENESS_COST,
    ExaminationStep,
    Stance,
    after,
    bits_per_minute,
    examination_step,
    in_order,
    is_worth_doing,
    stance_of,
    step_seconds,
    tells_words,
)
from tests.builders import found, negative, record
from tests.shoulder import PROTOCOL, SHOULDER

SITTING = Stance("sitting", 6)


def step(item: str, bits: float = 0.1) -> ExaminationStep:
    return examination_step(PROTOCOL, PROTOCOL.item(item), "left", bits)


def test_every_item_that_names_a_posture_has_it() -> None:
    swept = [step(item.id) for item in PROTOCOL.items]
    named = [s for s in swept if s.postures]
    assert len(named) > 200
    assert step("crank").postures >= {"lying"}
    assert step("spurling").postures == {"sitting"}


def test_soreness_and_the_couch_cost_time() -> None:
    lying = next(
        s for i in PROTOCOL.items if (s := step(i.id)).postures == {"lying"} and s.stage == 6
    )
    own = lying.item.seconds * (1 + SORENESS_COST * lying.item.soreness)
    assert step_seconds(lying, SITTING) == own + COUCH_SECONDS
    assert step_seconds(lying, Stance("lying", 6)) == own
    assert bits_per_minute(lying, Stance("lying", 6)) > bits_per_minute(lying, SITTING)


def test_steps_of_the_same_posture_come_together() -> None:
    names = ("hawkins_kennedy", "crank", "neer", "biceps_load_2", "speed")
    order = in_order([step(name) for name in names], SITTING, 5)
    here, changes = SITTING, 0
    for one in order:
        there = after(one, here)
        changes, here = changes + (there.posture != here.posture), there
    assert len(order) == 5
    assert changes <= 1


def test_a_large_gain_comes_before_small_ones() -> None:
    order = in_order([step("hawkins_kennedy", 0.06), step("painful_arc", 0.4)], SITTING, 2)
    assert [one.item.id for one in order] == ["painful_arc", "hawkins_kennedy"]


def test_never_a_sore_test_for_little() -> None:
    sore = [item.id for item in PROTOCOL.items if item.soreness == 3]
    assert len(sore) >= 2
    assert not any(is_worth_doing(step(name, 0.09)) for name in sore)
    assert all(is_worth_doing(step(name, 0.1)) for name in sore)


def test_nothing_found_begins_standing() -> None:
    assert stance_of(record(), PROTOCOL) == Stance("standing", 0)
    assert stance_of(record(negative("spurling", "left")), PROTOCOL).posture == "sitting"


@pytest.mark.parametrize(
    ("bits", "words"), [(0.2, "much"), (0.07, "something"), (0.03, "a little")]
)
def test_how_much_it_tells_is_said_in_words(bits: float, words: str) -> None:
    assert tells_words(bits) == f"would tell {words}"


def test_at_a_raised_emergency_it_stops_and_says_so() -> None:
    hot = found("warmth", "left", "choice", choice="hot")
    result = interpret(record(hot, history={"fever": "yes"}), SHOULDER)
    assert any(f.status == "raised" and f.urgency == "emergency" for f in result.red_flags)
    assert result.next == ()
    assert result.next_end.startswith("Stop here: ")


def test_suggestions_end_when_nothing_would_change_the_picture() -> None:
    from sidewise.reason.weighing.suggestions import NOTHING_LEFT
    from sidewise.record import read_record
    from tests.reason.registers import ROOT
    from tests.shoulder import REGIONS

    told = interpret(read_record(ROOT / "examples" / "winging.json", REGIONS), SHOULDER)
    assert bool(told.next) != bool(told.next_end)
    assert told.next or told.next_end == NOTHING_LEFT


def test_each_suggestion_tells_its_words_and_keeps_its_bits() -> None:
    told = [e for e in interpret(record(), SHOULDER).next if e.bits is not None]
    assert told
    assert all(e.tells == tells_words(e.bits or 0) and e.posture for e in told)
