"""The room: what is there is found only where it was looked for, and an attempt reads back."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from sidewise.errors import UserError
from sidewise.practice.room import (
    Ask,
    Attempt,
    Examine,
    Finish,
    Hint,
    Measure,
    Room,
    State,
    attempt_document,
    attempt_text,
    begin_attempt,
    parse_attempt,
    read_attempt,
    revealed_record,
    step_cost,
    take_step,
    verb_of,
)
from sidewise.practice.room.line import parse_line
from sidewise.reason.judging.flags import flag_book_of, red_flags, withheld
from sidewise.reason.judging.judge import Judge
from sidewise.reason.weighing.step_worth import examination_step, patient_seconds, stance_of
from tests.practice.learner_games import play, room_of
from tests.shoulder import REGIONS, SHOULDER

FROZEN = {"case": {"seed": 14, "with": ["frozen"], "without": ["others"], "flags": ["none"]}}
READY = ["prepare"]


@pytest.fixture(scope="module")
def room() -> Room:
    return room_of(FROZEN)[0]


def refused(room: Room, attempt: Attempt, step: object) -> str:
    with pytest.raises(UserError) as error:
        take_step(room, attempt, step)  # type: ignore[arg-type]
    assert error.value.where
    assert error.value.expected
    assert error.value.do, "the fourth part: what to do"
    return error.value.message


def test_nothing_is_known_before_anything_was_done(room: Room) -> None:
    record = revealed_record(room, begin_attempt(room))
    # What the hidden record has worked out for itself must not come along.
    assert room.hidden.at("acj_tenderness", "left")
    assert record.findings == ()
    assert record.at("acj_tenderness", "left") == ()
    assert (record.context.history, record.context.vitals, record.context.onset) == ({}, {}, None)


def test_only_the_side_that_was_felt_is_known(room: Room) -> None:
    record = revealed_record(room, play(room, [*READY, "feel left acj tenderness"]))
    assert record.at("acj_tenderness", "left") == room.hidden.at("acj_tenderness", "left")
    assert record.at("acj_tenderness", "right") == ()


def test_only_the_mode_that_was_moved_is_known(room: Room) -> None:
    record = revealed_record(room, play(room, [*READY, "move left flexion active"]))
    assert record.at("flexion", "left", "active")
    assert record.at("flexion", "left", "passive") == ()


def test_at_the_wrong_place_nothing_is_recorded(room: Room) -> None:
    attempt = play(room, [*READY, "feel left crepitus at joint line"])
    there = room.hidden.at("crepitus", "left")[0].value
    assert getattr(there, "place", None) != "joint line"
    assert attempt.taken[-1].findings == ()
    assert "elsewhere it was not looked for" in attempt.taken[-1].said


def test_every_item_of_the_patient_is_found_by_its_verb(room: Room) -> None:
    attempt = play(room, READY)
    found = 0
    for item in room.protocol.items:
        verb = verb_of(room.protocol, item)
        if item.id in room.to_see_to_first:
            continue
        step = Examine.model_validate(
            {"do": verb, "item": item.id, "side": "both" if item.paired else ""}
        )
        taken = take_step(room, attempt, step).taken[-1]
        modes = set(item.needed_modes or item.modes or (None,))
        there = [f for f in room.hidden.findings if f.item == item.id and f.mode in modes]
        assert sorted(map(str, taken.findings)) == sorted(map(str, there))
        found += bool(there)
    assert found > 200


def test_what_was_never_drawn_is_neither_yes_nor_no(room: Room) -> None:
    assert "psoriasis" not in room.hidden.context.history
    assert play(room, ["ask psoriasis"]).taken[-1].answer == "unsure"


def test_costs_are_those_of_the_plan_and_the_page(room: Room) -> None:
    attempt = play(room, READY)
    item = room.protocol.item("flexion")
    cost = step_cost(room, attempt, Examine(do="move", item="flexion", side="both"))
    step = examination_step(room.protocol, item, "", 0.0)
    assert cost.seconds == patient_seconds(
        step, stance_of(revealed_record(room, attempt), room.protocol)
    )
    assert cost.soreness == item.soreness


def test_one_side_costs_half(room: Room) -> None:
    attempt = play(room, READY)
    one, both = (
        step_cost(room, attempt, Examine(do="test", item="speed", side=side))  # type: ignore[arg-type]
        for side in ("left", "both")
    )
    assert one.soreness == both.soreness / 2
    assert one.seconds < both.seconds


REFUSED = {
    "an unknown item": Examine(do="feel", item="acj_tender", side="left"),
    "the wrong verb": Examine(do="look", item="acj_tenderness", side="left"),
    "no side": Examine(do="test", item="speed"),
    "a side of what has none": Examine(do="test", item="gait", side="left"),
    "a mode it has not": Examine(do="feel", item="acj_tenderness", side="left", mode="passive"),
    "a place it has not": Examine(do="feel", item="crepitus", side="left", place="knee"),
    "an unknown question": Ask(question="feverish"),
    "a vital sign that was not made": Measure(vital="oxygen_saturation"),
    "an unknown group": State(chances={"flu": 0.5}),
    "an unknown flag": State(not_to_miss=("plague",)),
    "the end before every chance was stated": Finish(chances={"frozen": 0.5}),
    "a hint where none are given": Hint(kind="next"),
}


@pytest.mark.parametrize("what", REFUSED)
def test_refused_in_four_parts(room: Room, what: str) -> None:
    refused(room, play(room, READY), REFUSED[what])


def test_nobody_is_touched_before_consent(room: Room) -> None:
    step = Examine(do="feel", item="acj_tenderness", side="left")
    assert "consent given" in refused(room, begin_attempt(room), step)


def test_the_same_again_is_refused(room: Room) -> None:
    attempt = play(room, [*READY, "feel both acj tenderness"])
    refused(room, attempt, Examine(do="feel", item="acj_tenderness", side="left"))


def test_nothing_comes_after_the_end(room: Room) -> None:
    attempt = play(room, ["chances rest 10%", "finish"])
    refused(room, attempt, Ask(question="fever"))


@pytest.mark.parametrize("chance", [-0.01, 1.01, float("nan")])
def test_no_chance_beyond_0_and_1(chance: float) -> None:
    with pytest.raises(ValueError, match="from 0 to 1"):
        State(chances={"frozen": chance})


def test_an_attempt_reads_back_exactly(room: Room, tmp_path: Path) -> None:
    lines = ["ask fever", "feel both acj tenderness", "move both flexion"]
    end = ["chances frozen likely, rest 3%", "beware nodes", "finish plan rest"]
    attempt = play(room, [*READY, *lines, *end])
    path = tmp_path / "attempt.json"
    path.write_text(attempt_text(attempt), encoding="utf-8")
    opened = read_attempt(path, REGIONS)
    assert opened.attempt == attempt
    assert opened.warnings == ()


def test_an_attempt_of_other_knowledge_opens_and_says_so(room: Room, tmp_path: Path) -> None:
    document = attempt_document(play(room, READY)) | {"knowledge_version": "0ld"}
    path = tmp_path / "attempt.json"
    path.write_text(json.dumps(document), encoding="utf-8")
    opened = read_attempt(path, REGIONS)
    assert len(opened.attempt.taken) == 3
    assert "0ld" in opened.warnings[0]


def test_a_broken_attempt_is_refused(room: Room) -> None:
    document = attempt_document(play(room, READY))
    for broken in ({**document, "format": "x"}, {**document, "steps": [{"step": {"do": "fly"}}]},
                   {k: v for k, v in document.items() if k != "steps"}):  # fmt: skip
        with pytest.raises(UserError):
            parse_attempt(broken)


def test_an_attempt_at_another_patient_is_refused(room: Room) -> None:
    other = begin_attempt(room).model_copy(update={"case_hash": "0"})
    refused(room, other, Ask(question="fever"))


def test_a_name_that_could_be_two_things_is_asked_back(room: Room) -> None:
    with pytest.raises(UserError, match="one of"):
        parse_line(room, "feel left tenderness")


def test_words_of_chance_are_remembered_with_their_numbers(room: Room) -> None:
    (step,) = parse_line(room, "chances frozen very likely, rest 2%")
    assert isinstance(step, State)
    assert (step.chances["frozen"], step.words["frozen"]) == (0.9, "very likely")
    assert step.chances["polymyalgia"] == 0.02


def test_what_a_raised_flag_withholds_is_refused() -> None:
    room, truth = room_of({"case": {"seed": 3, "flags": ["hot_swollen_joint"]}})
    assert "hot_swollen_joint" in truth.flags
    attempt = play(room, ["ask fever", "ask chills", "ask unwell", "measure temperature", *READY])
    book = flag_book_of(SHOULDER)
    judge = Judge(room.protocol, revealed_record(room, attempt))
    kept_back = withheld(red_flags(judge, book), book)
    items = [item for item in room.protocol.items if kept_back.wholly(item)]
    for item in items:
        step = Examine.model_validate({"do": verb_of(room.protocol, item), "item": item.id,
                                       "side": "both" if item.paired else ""})  # fmt: skip
        with pytest.raises(UserError, match="withheld"):
            take_step(room, attempt, step)
