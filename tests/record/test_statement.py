"""Answers and other fields of the context are entries of their own, under the rule of findings."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.record.check import check_statement
from sidewise.record.ledger import (
    ContextSet,
    Deed,
    Entry,
    Opened,
    Signed,
    Stated,
    Undone,
    fold_entries,
)
from sidewise.record.model import Context
from sidewise.record.statement import PLAIN, SIDED, checked_value
from tests.builders import BASE
from tests.shoulder import PROTOCOL

AT = datetime(2026, 3, 2, 9, 40, tzinfo=UTC)
OPEN = Opened(region="shoulder", context=Context.model_validate({**BASE, "complaint": ["left"]}))


def stated(field: str, value: Any, *replaces: str) -> Stated:
    return Stated(field=field, value=value, replaces=replaces)


def folded(*deeds: Deed) -> Any:
    entries = [Entry(id=f"e{n}", at=AT, by="E1", deed=deed) for n, deed in enumerate(deeds)]
    return fold_entries("r1", [Entry(id="open", at=AT, by="E1", deed=OPEN), *entries])


def test_an_answer_is_in_the_record() -> None:
    state = folded(stated("history.fever", "yes"), stated("age", "61"))
    assert state.record.context.answer("fever") == "yes"
    assert state.record.context.age == 61


def test_two_answers_to_different_questions_both_stand() -> None:
    state = folded(stated("history.fever", "yes"), stated("history.cancer", "no"))
    assert state.record.context.history == {"fever": "yes", "cancer": "no"}
    assert state.disputes == ()


def test_a_yes_in_dispute_goes_on_warning() -> None:
    state = folded(stated("history.fever", "no"), stated("history.fever", "yes"))
    assert state.record.context.answer("fever") == "yes"
    assert len(state.disputes) == 1


def test_different_answers_without_a_yes_are_in_dispute_and_count_as_not_asked() -> None:
    state = folded(stated("history.fever", "unsure"), stated("history.fever", "no"))
    assert state.record.context.answer("fever") == "not asked"
    (dispute,) = state.disputes
    assert dispute.entries == ("e0", "e1")


def test_the_same_answer_twice_is_no_dispute() -> None:
    state = folded(stated("history.fever", "no"), stated("history.fever", "no"))
    assert state.disputes == ()
    assert state.record.context.answer("fever") == "no"


def test_an_answer_that_names_both_settles_the_dispute() -> None:
    state = folded(stated("history.fever", "yes"), stated("history.fever", "no"),
                   stated("history.fever", "yes", "e0", "e1"))  # fmt: skip
    assert state.disputes == ()
    assert state.record.context.answer("fever") == "yes"


def test_undoing_an_answer_puts_back_the_one_before() -> None:
    deeds = (stated("history.fever", "yes"), stated("history.fever", "no", "e0"))
    assert folded(*deeds).record.context.answer("fever") == "no"
    state = folded(*deeds, Undone(entries=("e1",)))
    assert state.record.context.answer("fever") == "yes"


def test_undoing_the_first_age_puts_back_the_age_the_record_was_opened_with() -> None:
    state = folded(stated("age", 61), ContextSet(changes={"sex": "male"}), Undone(entries=("e0",)))
    assert state.record.context.age == OPEN.context.age


def test_a_change_of_the_whole_history_takes_the_place_of_the_answers() -> None:
    state = folded(stated("history.fever", "yes"), ContextSet(changes={"history": {}}))
    assert state.record.context.history == {}
    assert state.statements == {}


def test_while_it_is_open_which_side_hurts_neither_is_the_healthy_yardstick() -> None:
    state = folded(stated("complaint", ["left"]), stated("complaint", "right"))
    assert not state.record.is_yardstick("left")
    assert not state.record.is_yardstick("right")


def test_what_one_of_two_says_is_known_of_a_side_keeps_it_from_being_the_yardstick() -> None:
    state = folded(stated("known.right", "surgery"), stated("known.right", ""))
    assert not state.record.is_yardstick("right")


def test_a_dispute_cannot_be_signed() -> None:
    with pytest.raises(UserError, match=r"different answers, first history\.fever"):
        folded(stated("history.fever", "yes"), stated("history.fever", "no"), Signed())


def test_every_plain_field_can_be_stated_and_emptied() -> None:
    given = {
        "setting": "primary",
        "age": "58",
        "sex": "male",
        "dominant": "both",
        "onset": "sudden",
        "complaint": "left right",
        "mechanism": "a fall",
        "duration_weeks": "2.5",
        "pain_0_10": "7",
        "visit": "short",
        "follows": {"record": "r0", "at": "2026-01-19T09:00:00+00:00", "by": "E1"},
    }
    assert set(given) == set(PLAIN)
    for field, text in given.items():
        assert checked_value(field, text), field
        assert not checked_value(field, ""), field
    assert checked_value("known.left", "tear") == {
        "tear": True, "surgery": False, "replacement": False
    }  # fmt: skip
    assert len(SIDED) == 2


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("age", 1650, "age: got 1650, expected at most 120"),
        ("history.fever", "perhaps", 'fever: got "perhaps"'),
        ("known.left", ["bent"], 'known left: got "bent", expected some of tear, surgery'),
        ("known.left", 5, "known left: got 5"),
        ("complaint", 5, "complaint side: got 5"),
        ("patient", "HERON-2", 'the field: got "patient", expected a field of the context'),
        ("examined_at", "2026-03-02", 'the field: got "examined_at"'),
        ("history.", "yes", 'the field: got "history."'),
    ],
)
def test_an_impossible_statement_is_refused(field: str, value: Any, message: str) -> None:
    with pytest.raises(UserError, match=message):
        stated(field, value)


@pytest.mark.parametrize(
    ("field", "value", "message"),
    [
        ("history.fevers", "yes", 'fevers", expected a question of the protocol'),
        ("history.fevers", "not asked", 'fevers", expected a question of the protocol'),
        ("vitals.temperature", 45.5, "degrees Celsius from 30 to 45"),
        ("vitals.temperature", float("nan"), "degrees Celsius from 30 to 45"),
        ("vitals.height", 1.8, 'height", expected one of'),
    ],
)
def test_a_statement_the_protocol_does_not_know_is_refused(
    field: str, value: Any, message: str
) -> None:
    with pytest.raises(UserError, match=message):
        check_statement(field, value, PROTOCOL)
