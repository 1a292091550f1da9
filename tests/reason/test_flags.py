"""Red flags: raised or not excluded; nothing hides one; raised ones withhold."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import TypeAdapter

from sidewise.reason.judging.flag_state import NOT_SETTLED
from sidewise.reason.judging.flags import (
    FlagRule,
    red_flags,
    unasked_core,
    withheld,
)
from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.not_looked import not_looked_at
from sidewise.reason.judging.rules import Ask, Is, Rule, leaves, unresolved
from sidewise.reason.judging.ruling import evaluate
from sidewise.reason.result import RedFlag
from sidewise.record import Record
from tests.builders import angle, found, record
from tests.shoulder import BOOK, PROTOCOL

CORE_NO = {entry.id: "no" for entry in PROTOCOL.history if entry.core}


def flags(one: Record) -> dict[str, RedFlag]:
    return {flag.flag: flag for flag in red_flags(Judge(PROTOCOL, one), BOOK)}


def status(one: Record, name: str) -> str | None:
    flag = flags(one).get(name)
    return flag.status if flag else None


def with_history(*findings: Any, **answers: str) -> Record:
    return record(*findings, history={**CORE_NO, **answers})


def test_every_word_of_every_rule_resolves() -> None:
    rules = BOOK.rules()
    words = [leaf for _, rule in rules for leaf in leaves(rule)]
    assert [p for _, rule in rules for p in unresolved(rule, PROTOCOL)] == []
    assert len(BOOK.flags) >= 38
    assert len(words) > 250


def test_every_flag_has_a_source_with_one_mark() -> None:
    bases = [basis for flag in (*BOOK.flags, *BOOK.thresholds) for basis in flag.basis]
    assert all(basis.mark and basis.source for basis in bases)
    assert len(bases) >= 45


def test_about_ten_core_questions_always_count() -> None:
    assert len(unasked_core(PROTOCOL, Judge(PROTOCOL, record()))) == len(CORE_NO)
    assert 8 <= len(CORE_NO) <= 12


def test_a_quiet_record_with_the_core_asked_calls_for_no_flag() -> None:
    found_flags = flags(with_history())
    assert {f.status for f in found_flags.values() if f.called_for} == set()
    # Yet nobody has looked: what is open is said, in one line.
    assert len(found_flags) > 40
    open_words = not_looked_at(found_flags.values(), BOOK, PROTOCOL, with_history())
    assert {"skin", "lump and glands", "contour and swelling", "pulse and hand"} <= set(open_words)


def test_a_missing_core_question_leaves_flags_not_excluded() -> None:
    without = {k: v for k, v in CORE_NO.items() if k != "fever"}
    found_flags = flags(record(history=without))
    open_flags = {name: flag for name, flag in found_flags.items() if flag.called_for}
    assert open_flags
    assert {flag.status for flag in open_flags.values()} == {"not excluded"}
    fever = PROTOCOL.history_by_id["fever"].label
    assert all(fever in flag.missing for flag in open_flags.values())


def test_a_flag_does_not_fall_silent_because_somebody_saw_it_otherwise() -> None:
    hot = found("warmth", "left", "choice", choice="hot")
    same = found("warmth", "left", "choice", choice="same")
    one = with_history(hot, fever="yes")
    both = with_history(hot, same, fever="yes")
    assert len(both.conflicts) == 1
    assert status(with_history(same, fever="yes"), "hot_swollen_joint") != "raised"
    flag = flags(both)["hot_swollen_joint"]
    assert flag.status == "raised"
    assert flag.because == (*flags(one)["hot_swollen_joint"].because, NOT_SETTLED)
    # In whichever order they came, and with another conflict beside it.
    far = (
        found("neer", "left", "result", result="positive"),
        found("neer", "left", "result", result="negative"),
    )
    assert status(with_history(*far, same, hot, fever="yes"), "hot_swollen_joint") == "raised"


def test_two_conflicts_do_not_silence_a_flag_that_needs_both() -> None:
    both_needed = {
        "all_of": [
            {"item": "warmth", "is": {"test": "one_of", "values": ["hot"]}},
            {"item": "gh_swelling", "is": {"test": "sign"}},
        ]
    }
    rule = BOOK.flags[0].model_copy(
        update={"scope": "side", "when": TypeAdapter(Rule).validate_python(both_needed)}
    )
    book = BOOK.model_copy(update={"flags": (rule,)})
    hot, same = (found("warmth", "left", "choice", choice=word) for word in ("hot", "same"))
    swollen, flat = (found("gh_swelling", "left", "sign", grade=g) for g in ("marked", "absent"))

    def raised(*findings: Any) -> bool:
        told = red_flags(Judge(PROTOCOL, record(*findings)), book)
        return [flag.status for flag in told] == ["raised"]

    assert raised(hot, swollen)
    assert not raised(same, swollen)
    assert raised(hot, same, swollen, flat)
    assert not raised(same, swollen, flat)


def test_fever_with_a_hot_joint_is_raised_and_withholds_provocation() -> None:
    one = with_history(found("warmth", "left", "choice", choice="hot"), fever="yes")
    raised = flags(one)["hot_swollen_joint"]
    assert (raised.status, raised.urgency) == ("raised", "emergency")
    kept_back = withheld(tuple(flags(one).values()), BOOK)
    assert kept_back.why(PROTOCOL.item("neer"))
    assert kept_back.why(PROTOCOL.item("flexion"), "passive")
    assert kept_back.why(PROTOCOL.item("flexion"), "active") is None
    assert kept_back.why(PROTOCOL.item("radial_pulse")) is None


def test_diabetes_with_a_slow_stiff_joint_alone_raises_no_infection() -> None:
    stiff = angle("external_rotation_at_side", "left", 10)
    slow = record(stiff, history={**CORE_NO, "diabetes": "yes"}, duration_weeks=20)
    assert status(slow, "cold_septic_joint") != "raised"
    quick = record(
        stiff,
        angle("flexion", "left", 70),
        history={**CORE_NO, "diabetes": "yes", "rest_pain": "yes"},
        duration_weeks=1,
    )
    assert status(quick, "cold_septic_joint") == "raised"


@pytest.mark.parametrize(("count", "expected"), [(2, None), (3, "raised")])
def test_three_of_five_cord_signs_are_needed(count: int, expected: str | None) -> None:
    signs = [
        found("hoffmann", "left", "sign", grade="present"),
        found("inverted_supinator", "left", "sign", grade="present"),
        found("gait", "midline", "choice", choice="wide or stiff"),
    ]
    quiet = [
        found("hoffmann", "right", "sign", grade="absent"),
        found("inverted_supinator", "right", "sign", grade="absent"),
        *(found("plantar", side, "choice", choice="down") for side in ("left", "right")),
        *(found("leg_reflexes", side, "reflex", reflex="normal") for side in ("left", "right")),
        *(found("clonus", side, "sign", grade="absent") for side in ("left", "right")),
        *(
            found("finger_dexterity", side, "choice", choice="quick and even")
            for side in ("left", "right")
        ),
        found("neck_flexion", "midline", "result", result="negative"),
    ]
    absent = [
        found("gait", "midline", "choice", choice="even"),
    ]
    shown = [*signs[:count], *quiet, *(absent if count < 3 else [])]
    asked = ("clumsy_hands", "gait_change", "bladder", "neck_pain", "electric_on_bending")
    no = dict.fromkeys(asked, "no")
    assert status(with_history(*shown, **no) if count == 3 else record(
        *shown, history={**CORE_NO, **no}, age=40), "cord_signs") == expected  # fmt: skip


def test_under_18_is_a_flag() -> None:
    assert status(record(age=17, history=CORE_NO), "under_18") == "raised"
    assert status(record(age=18, history=CORE_NO), "under_18") is None


def test_raised_flags_come_first_by_urgency() -> None:
    one = record(
        history={"fever": "yes", "face_droop": "yes", "cancer": "yes", "night_pain": "yes"}
    )
    order = [flag.status for flag in red_flags(Judge(PROTOCOL, one), BOOK)]
    assert order == sorted(order, reverse=True)
    assert [flag.called_for for flag in red_flags(Judge(PROTOCOL, one), BOOK)].count(True) >= 3
    first = red_flags(Judge(PROTOCOL, one), BOOK)[0]
    assert (first.status, first.urgency) == ("raised", "immediate")


@pytest.mark.parametrize("rule", BOOK.flags, ids=lambda rule: rule.id)
def test_no_answer_of_no_raises_any_flag(rule: FlagRule) -> None:
    no = {entry.id: "no" for entry in PROTOCOL.history}
    assert status(record(history=no), rule.id) != "raised"


@pytest.mark.parametrize("rule", BOOK.flags, ids=lambda rule: rule.id)
def test_unsure_and_unexamined_never_settle_a_flag(rule: FlagRule) -> None:
    unsure = {entry.id: "unsure" for entry in PROTOCOL.history}
    judge = Judge(PROTOCOL, record(history=unsure, age=70, pain_0_10=5))
    if any(isinstance(leaf, Ask | Is) for leaf in leaves(rule.when)):
        assert evaluate(rule.when, judge, ("left", "right")).value == "unknown"


def test_equal_parts_of_two_flags_are_one_object() -> None:
    found: dict[Any, set[int]] = {}
    for flag in BOOK.flags:
        for rule in (flag.when, flag.called_for_by):
            for leaf in leaves(rule) if rule is not None else ():
                found.setdefault(leaf, set()).add(id(leaf))
    assert len(found) > 300
    assert all(len(objects) == 1 for objects in found.values())
