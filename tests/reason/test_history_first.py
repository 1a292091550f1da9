"""What a clinician expects to be told first where nobody has taken the history.

Written before the first run: the questions come as one step, ahead of every item; never one
question picked out of ten; a history that is nearly complete is completed question by question;
one that is complete is not asked for again. The order (history before hands) is common practice.
"""

from __future__ import annotations

from sidewise.reason import interpret
from sidewise.reason.result import Next
from tests.builders import record
from tests.shoulder import PROTOCOL, SHOULDER

CORE = {entry.id: "no" for entry in PROTOCOL.history if entry.core}
LABELS = {f"ask: {entry.label}" for entry in PROTOCOL.history if entry.core}


def steps(**history: str) -> tuple[Next, ...]:
    return interpret(record(history=history), SHOULDER).next


def test_a_history_that_nobody_took_is_one_step_and_the_first() -> None:
    first, *rest = steps()
    assert first.label == "ask the history first: 10 questions"
    assert first.item in CORE
    assert not LABELS & {entry.label for entry in rest}
    assert not any(entry.label.startswith("ask the history") for entry in rest)


def test_it_counts_what_is_still_to_be_asked() -> None:
    asked = dict(list(CORE.items())[:6])
    labels = [entry.label for entry in steps(**asked)]
    assert labels[0] == "ask the history first: 4 questions"
    assert not LABELS & set(labels)


def test_the_last_question_is_named() -> None:
    *most, last = CORE
    labels = {entry.label for entry in steps(**dict.fromkeys(most, "no"))}
    question = next(entry for entry in PROTOCOL.history if entry.id == last)
    assert f"ask: {question.label}" in labels
    assert not any(label.startswith("ask the history") for label in labels)


def test_a_question_written_down_as_not_asked_is_still_to_be_asked() -> None:
    first, *_ = steps(**dict.fromkeys(CORE, "not asked"))
    assert first.label == "ask the history first: 10 questions"


def test_a_history_that_was_taken_is_not_asked_for_again() -> None:
    labels = {entry.label for entry in steps(**CORE)}
    assert not LABELS & labels
    assert not any(label.startswith("ask the history") for label in labels)
