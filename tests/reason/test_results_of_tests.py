"""Results of tests and the flags: an abnormal one warns, a normal one excuses nothing.

And an injection against a raised flag of infection: refused, or said, never passed over.
"""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.note.completeness import completeness
from sidewise.reason.batch.posteriors import judge_record
from sidewise.reason.judging.flags import flag_book_of
from sidewise.reason.judging.injections import (
    check_injection,
    flags_against_injection,
    flags_not_acknowledged,
)
from sidewise.reason.judging.results import record_with_results
from sidewise.record import Finding, Injection, Record
from tests.builders import BASE, found
from tests.record.test_care import INJECTED
from tests.shoulder import PROTOCOL, SHOULDER

HOT = (
    found("warmth", "left", "choice", choice="hot"),
    found("global_passive_pain", "left", "sign", grade="present"),
    found("gh_swelling", "left", "sign", grade="marked"),
)


def one(*findings: Finding, care: tuple[dict[str, Any], ...] = (), **context: Any) -> Record:
    data = {"id": "r1", "region": "shoulder", "context": {**BASE, **context}, "care": care,
            "findings": [finding.model_dump() for finding in findings]}  # fmt: skip
    return Record.model_validate(data)


def result(name: str, outcome: str) -> dict[str, Any]:
    return {"kind": "investigation", "name": name, "outcome": outcome}


@pytest.mark.parametrize(
    ("name", "question"),
    [("inflammation markers", "raised_markers"), ("radiograph", "abnormal_film")],
)
def test_an_abnormal_result_answers_its_question_however_it_was_answered(
    name: str, question: str
) -> None:
    care = (result(name, "abnormal"),)
    for answers in ({}, {question: "no"}, {question: "unsure"}, {question: "yes"}):
        seen = record_with_results(one(care=care, history=answers), PROTOCOL)
        assert seen.context.answer(question) == "yes"
    disputed = {f"history.{question}": ("no", "unsure")}
    seen = record_with_results(one(care=care, disputed=disputed), PROTOCOL)
    assert seen.context.disputed[f"history.{question}"] == ("no", "unsure", "yes")


@pytest.mark.parametrize("outcome", ["normal", "not clear", "awaited"])
def test_any_other_outcome_answers_nothing(outcome: str) -> None:
    record = one(care=(result("radiograph", outcome), result("inflammation markers", outcome)))
    assert record_with_results(record, PROTOCOL) is record


def test_every_door_sees_the_result_as_it_sees_the_answer() -> None:
    # Page, check and note read `completeness`, a register `judge_record`.
    said = one(*HOT, history={"raised_markers": "yes"})
    shown = one(*HOT, care=(result("inflammation markers", "abnormal"),))
    for flags in (
        lambda record: [(f.flag, f.status) for f in completeness(record, SHOULDER).flags],
        lambda record: judge_record(record, SHOULDER, None).flags,
    ):
        assert flags(said) == flags(shown)


def test_flags_that_stop_an_injection_are_those_of_infection_and_danger() -> None:
    stopping = {rule.id for rule in flag_book_of(SHOULDER).flags if rule.stops_injection}
    assert {"hot_swollen_joint", "cold_septic_joint", "operated_joint_infection"} <= stopping
    assert {"sternoclavicular_infection", "necrotising_infection", "spinal_infection"} <= stopping
    assert "mass" not in stopping
    assert len(stopping) == 9


def test_a_raised_flag_is_acknowledged_by_its_own_name_or_the_injection_is_refused() -> None:
    record = one(*HOT, history={"fever": "yes"})
    against = flags_against_injection(record, SHOULDER)
    assert "hot_swollen_joint" in {flag.flag for flag in against}
    with pytest.raises(UserError, match=r"a raised flag: .*hot, swollen joint"):
        check_injection(Injection.model_validate(INJECTED), record, SHOULDER)
    named = {**INJECTED, "flags": [flag.flag for flag in against]}
    check_injection(Injection.model_validate(named), record, SHOULDER)
    less = {**named, "flags": named["flags"][1:]}
    with pytest.raises(UserError, match=against[0].label):
        check_injection(Injection.model_validate(less), record, SHOULDER)


def test_without_a_raised_flag_nothing_is_asked_and_in_a_file_the_lack_is_said() -> None:
    check_injection(Injection.model_validate(INJECTED), one(), SHOULDER)
    assert flags_not_acknowledged(one(care=(INJECTED,)), SHOULDER) == ()
    left = flags_not_acknowledged(one(*HOT, history={"fever": "yes"}, care=(INJECTED,)), SHOULDER)
    assert "hot_swollen_joint" in {flag.flag for flag in left}


def test_a_setting_without_figures_says_whose_are_used() -> None:
    from sidewise.ground.settings import SETTING_WORDS, STANDS_IN
    from sidewise.reason.interpretation import setting_used

    for setting, like in STANDS_IN.items():
        used, (warning,) = setting_used(one(setting=setting), None)
        assert used == like
        assert SETTING_WORDS[setting] in warning
        assert SETTING_WORDS[like] in warning
    assert len(STANDS_IN) == 5
    assert setting_used(one(setting="primary"), None) == ("primary", ())
