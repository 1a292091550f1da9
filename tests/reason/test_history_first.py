"""What is worth doing first when the history was not asked: to ask it, as one step.

Expectations written before the first run, from common practice in taking a history (no source): a
clinician asks first and examines then, and the questions that everybody is asked are asked in one go.
"""

from __future__ import annotations

from sidewise.protocol import protocol_of
from sidewise.reason import interpret
from sidewise.record import Record
from tests.builders import record
from tests.shoulder import SHOULDER

CORE = tuple(question for question in protocol_of(SHOULDER).history if question.core)


def _asked(*answers: str) -> Record:
    """The first core questions answered in this order, the others not asked."""
    ids = (question.id for question in CORE)
    return record(history=dict(zip(ids, answers, strict=False)))


def _all_but(*yes: str) -> Record:
    """Every core question answered no but these."""
    given = {question.id: "no" for question in CORE}
    return record(history={**given, **dict.fromkeys(yes, "yes")})


def _steps(made: Record) -> list[str]:
    return [step.label for step in interpret(made, SHOULDER).next]


def test_nothing_asked_makes_the_history_the_first_step_and_one_only() -> None:
    steps = _steps(record())
    assert len(CORE) == 10
    assert steps[0] == "ask the history first: 10 questions"
    assert not {f"ask: {question.label}" for question in CORE} & set(steps)


def test_the_first_step_says_what_it_is_for_and_how_long_it_takes() -> None:
    first = interpret(record(), SHOULDER).next[0]
    assert first.minutes == 0.5
    assert first.screens_flag == "no red flag is excluded before; half a minute"
    assert first.item == CORE[0].id


def test_half_asked_makes_the_rest_one_step() -> None:
    assert _steps(_asked("no", "no", "no"))[0] == "ask the rest of the history: 7 questions"


def test_one_question_left_is_named() -> None:
    last = CORE[-1]
    left = record(history={question.id: "no" for question in CORE if question is not last})
    assert not any("history" in step for step in _steps(left))


def test_all_asked_leaves_no_such_step() -> None:
    assert not any("history" in step for step in _steps(_all_but()))


def test_a_question_that_an_answer_calls_for_stays_a_step_of_its_own() -> None:
    assert _steps(_all_but("fever"))[0] == "ask: began within two weeks"


def test_an_unsure_answer_was_asked_and_is_no_part_of_the_step() -> None:
    assert _steps(_asked("unsure"))[0] == "ask the rest of the history: 9 questions"
