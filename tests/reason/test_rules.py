"""Rules in three values: what is unknown stays unknown until the known settles it."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from sidewise.reason.judging.judge import Judge
from sidewise.reason.judging.rules import Cutoff, Rule, cutoffs
from sidewise.reason.judging.ruling import evaluate
from sidewise.record import Record
from tests.builders import angle, found, record
from tests.shoulder import PROTOCOL

RULE: TypeAdapter[Any] = TypeAdapter(Rule)
QUESTIONS = ("fever", "chills", "unwell")
BOTH = ("left", "right")


def value(rule: dict[str, Any], one: Record, sides: tuple[str, ...] = BOTH) -> str:
    return evaluate(RULE.validate_python(rule), Judge(PROTOCOL, one), sides).value


def asked(answers: tuple[str, ...]) -> Record:
    return record(history=dict(zip(QUESTIONS, answers, strict=True)))


def completions(answers: tuple[str, ...]) -> list[tuple[str, ...]]:
    """Every way in which the open answers might turn out."""
    return list(product(*[(a,) if a in ("yes", "no") else ("yes", "no") for a in answers]))


ASKS = [{"ask": name} for name in QUESTIONS]
FORMS = (
    {"all_of": ASKS},
    {"any_of": ASKS},
    {"at_least": 2, "of": ASKS},
    {"all_of": [ASKS[0], {"any_of": ASKS[1:]}]},
    {"not": {"any_of": ASKS}},
)


@pytest.mark.parametrize("form", FORMS, ids=str)
def test_a_rule_is_settled_just_when_no_open_answer_can_change_it(form: dict[str, Any]) -> None:
    swept = 0
    for answers in product(("yes", "no", "unsure"), repeat=3):
        ends = {value(form, asked(end)) for end in completions(answers)}
        assert value(form, asked(answers)) == (ends.pop() if len(ends) == 1 else "unknown")
        swept += 1
    assert swept == 27


@pytest.mark.parametrize(
    ("fever", "chills", "expected"),
    [
        ("yes", "yes", "no"), ("yes", "no", "yes"), ("yes", "unsure", "yes"),
        ("no", "unsure", "no"), ("unsure", "no", "unknown"), ("unsure", "yes", "no"),
    ],
)  # fmt: skip
def test_an_exception_holds_back_only_when_it_is_known(
    fever: str, chills: str, expected: str
) -> None:
    rule = {"then": {"ask": "fever"}, "unless": {"ask": "chills"}}
    assert value(rule, asked((fever, chills, "no"))) == expected


def low(sides: str) -> dict[str, Any]:
    return {"item": "flexion", "is": {"test": "angle", "mode": "active", "at_most": 90},
            "sides": sides}  # fmt: skip


def flexed(left: float | None, right: float | None) -> Record:
    pairs = (("left", left), ("right", right))
    return record(*(angle("flexion", s, d, "active") for s, d in pairs if d is not None))


@pytest.mark.parametrize(
    ("left", "right", "any_side", "both"),
    [
        (60, 60, "yes", "yes"), (60, 170, "yes", "no"), (170, 170, "no", "no"),
        (60, None, "yes", "unknown"), (None, 170, "unknown", "no"),
        (None, None, "unknown", "unknown"),
    ],
)  # fmt: skip
def test_any_side_and_both_sides(
    left: float | None, right: float | None, any_side: str, both: str
) -> None:
    one = flexed(left, right)
    assert (value(low("any"), one), value(low("both"), one)) == (any_side, both)


def test_the_side_complained_of_is_the_one_that_counts() -> None:
    assert value(low("complaint"), flexed(170, 60)) == "no"
    assert value(low("complaint"), flexed(60, 170)) == "yes"
    assert value(low("complaint"), flexed(170, 60).model_copy(
        update={"context": record(complaint=[]).context})) == "yes"  # fmt: skip


def test_what_nobody_is_sent_to_look_for_counts_when_found() -> None:
    leaf = {"item": "rent_sign", "is": {"test": "sign"}, "ask_for": False}
    rule = RULE.validate_python(leaf)
    seen = record(found("rent_sign", "left", "sign", grade="present"))
    assert evaluate(rule, Judge(PROTOCOL, seen), BOTH).value == "yes"
    unseen = evaluate(rule, Judge(PROTOCOL, record()), BOTH)
    assert (unseen.value, unseen.missing) == ("unknown", ())


@pytest.mark.parametrize(
    ("test", "context", "expected"),
    [
        ({"duration_weeks_below": 2}, {"duration_weeks": 1.9}, "yes"),
        ({"duration_weeks_below": 2}, {"duration_weeks": 2}, "no"),
        ({"duration_weeks_over": 26}, {"duration_weeks": 26}, "no"),
        ({"duration_weeks_over": 26}, {"duration_weeks": 26.5}, "yes"),
        ({"duration_weeks_over": 26}, {}, "unknown"),
        ({"sex": "male"}, {"sex": "male"}, "yes"),
        ({"sex": "male"}, {"sex": None}, "unknown"),
        ({"age_at_least": 50}, {"age": 49}, "no"),
        ({"age_at_least": 50}, {"age": 50}, "yes"),
        ({"age_at_least": 50}, {"age": None}, "unknown"),
        # No complaint noted is not a complaint denied.
        ({"complaint": True}, {"complaint": []}, "unknown"),
    ],
)
def test_the_context_is_tested_at_its_edges(
    test: dict[str, Any], context: dict[str, Any], expected: str
) -> None:
    assert value({"context": test}, record(**context)) == expected


def test_every_number_and_grade_of_a_rule_is_a_cutoff() -> None:
    rule = {
        "at_least": 2,
        "of": [
            {"item": "temperature", "is": {"test": "vital", "at_least": 38.0}},
            {"item": "abduction_power", "is": {"test": "power", "below": "4"}},
            {"item": "bruising", "is": {"test": "sign", "at_least": "marked"}},
            {"item": "bruising", "is": {"test": "sign"}},
            {"not": {"context": {"age_below": 40, "onset": "sudden"}}},
            {"unless": {"item": "acj_tenderness", "is": {"test": "tenderness", "at_least": 3}},
             "then": {"ask": "fever"}},
        ],
    }  # fmt: skip
    assert set(cutoffs(RULE.validate_python(rule))) == {
        Cutoff("signs together", 2), Cutoff("temperature", 38.0), Cutoff("abduction_power", "4"),
        Cutoff("bruising", "marked"), Cutoff("age_below", 40), Cutoff("acj_tenderness", 3),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("slip", "message", "place"),
    [
        ({"asks": "fever"}, "Unable to extract tag", ()),
        ({"item": "warmth", "is": {"test": "one_off"}}, "one_off", ("item", "is")),
        ({"all_of": [{"item": "warmth", "iss": {}}]}, "Field required",
         ("all_of", "all_of", 0, "item", "is")),
        ({"at_least": 3, "of": [{"ask": "fever"}]}, "more than there are rules", ("at_least",)),
    ],
)  # fmt: skip
def test_a_slip_in_a_rule_is_named_where_it_stands(
    slip: dict[str, Any], message: str, place: tuple[object, ...]
) -> None:
    with pytest.raises(ValidationError, match=message) as refused:
        RULE.validate_python(slip)
    assert refused.value.errors()[0]["loc"] == place
