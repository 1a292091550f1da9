"""What calls for an item: only a yes, and nothing that waits for itself gets past the loader.

The rules are our judgement; each item here is called by a record made for one leaf of its rule.
"""

from __future__ import annotations

from typing import Any

import pytest

from sidewise.errors import UserErrors
from sidewise.protocol import Item, Protocol
from sidewise.reason.judging.called_for import (
    CalledForRule,
    called_for,
    called_for_rules,
    read_rules,
)
from sidewise.reason.judging.judge import Judge
from sidewise.record import Finding
from tests.builders import found, positive, record, unable
from tests.reason.called_records import none, wish
from tests.shoulder import PROTOCOL, SHOULDER

RULES = called_for_rules(SHOULDER)


def called(*findings: Finding, **context: Any) -> set[str]:
    judge = Judge(PROTOCOL, record(*findings, **context))
    return set(called_for(judge, SHOULDER))


def with_rules(**rules: dict[str, Any]) -> Protocol:
    """The shoulder's protocol, some items called for by other rules."""
    items = []
    for item in PROTOCOL.items:
        if item.id in rules:
            needed = {"rule": rules[item.id], "because": "for a test of the loader"}
            data = {**item.model_dump(), "role": "optional", "needed_when": needed}
            item = Item.model_validate(data)
        items.append(item)
    return PROTOCOL.model_copy(update={"items": tuple(items)})


def faults(**rules: dict[str, Any]) -> str:
    with pytest.raises(UserErrors) as caught:
        read_rules(with_rules(**rules))
    return caught.value.message


# --- what the loader refuses ---


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ({"ask": "no_such_question"}, "question no_such_question"),
        ({"item": "no_such_item", "is": {"test": "normal"}}, "item no_such_item"),
        ({"item": "neer", "is": {"test": "pulse"}}, "needed_when"),
        ({"anything": "else"}, "needed_when"),
        (
            {"item": "flexion", "is": {"test": "angle", "mode": "active", "at_most": -5}},
            "nought or more",
        ),
    ],
)
def test_a_rule_that_cannot_be_answered_is_refused(rule: dict[str, Any], words: str) -> None:
    message = faults(clonus=rule)
    assert "protocol: clonus: needed_when" in message
    assert words in message


def test_items_that_wait_for_one_another_are_refused_by_name() -> None:
    message = faults(
        clonus={"item": "plantar", "is": {"test": "normal"}},
        plantar={"any_of": [{"ask": "fever"}, {"item": "clonus", "is": {"test": "normal"}}]},
    )
    assert "clonus waits for plantar waits for clonus" in message or (
        "plantar waits for clonus waits for plantar" in message
    )


def test_an_item_that_waits_for_itself_is_refused() -> None:
    itself = {"item": "clonus", "is": {"test": "normal"}}
    assert "clonus waits for clonus" in faults(clonus=itself)


def test_every_fault_is_said_and_the_same_rules_are_one_object() -> None:
    message = faults(clonus={"ask": "nothing"}, plantar={"ask": "nobody"})
    assert "question nothing" in message
    assert "question nobody" in message
    shared = {id(one.rule) for one in RULES if one.rule == RULES[0].rule}
    assert len(shared) == 1


# --- what calls and what does not ---


def test_nothing_known_calls_for_nothing() -> None:
    assert called() == set()
    assert called(history={question.id: "no" for question in PROTOCOL.history}) == set()


def test_a_doubt_calls_for_nothing() -> None:
    unsure = {question.id: "unsure" for question in PROTOCOL.history}
    assert called(history=unsure) == set()


def test_what_could_not_be_done_calls_for_nothing() -> None:
    assert called(unable("apprehension", "left")) == set()


def test_of_two_answers_that_contradict_each_other_the_yes_calls() -> None:
    # Neither is settled, and a reason that may stand is acted on, as the flags do.
    sure = called(positive("apprehension", "left", apprehension=True))
    disputed = called(
        positive("apprehension", "left", apprehension=True),
        found("apprehension", "left", "result", result="negative"),
    )
    assert sure
    assert disputed == sure


def test_a_reason_on_either_side_calls_for_the_item() -> None:
    for side in ("left", "right"):
        assert "winging_lateral" in called(found("winging_rest", side, "sign", grade="marked"))


def test_a_lower_shoulder_beside_a_full_neck_line_is_no_reason() -> None:
    # Common practice, no source: with a hollow neck line it is trapezius, without it a variant.
    lower = found("shoulder_height", "right", "choice", choice="lower")
    full = [found("trapezius_bulk", side, "sign", grade="full") for side in ("left", "right")]
    assert "trapezius_power" in called(lower)
    assert "trapezius_power" in called(lower, full[0])
    assert "trapezius_power" not in called(lower, *full)


def test_a_painless_equal_prominence_is_no_reason_to_provoke_the_joint() -> None:
    step = [found("acj_step", side, "sign", grade="slight") for side in ("left", "right")]
    calm = [found("acj_tenderness", s, "tenderness", grade=0) for s in ("left", "right")]
    calm += [found("cross_body", s, "result", result="negative") for s in ("left", "right")]
    assert "paxinos" in called(*step)
    assert "paxinos" not in called(*step, *calm)


# --- every rule ---


@pytest.mark.parametrize("one", RULES, ids=lambda one: one.item)
def test_each_item_is_called_by_a_record_made_for_it_and_not_by_its_opposite(
    one: CalledForRule,
) -> None:
    asked = wish(one.rule)
    assert one.item in called(*asked.findings, **asked.context)
    against = none(one.rule)
    assert one.item not in called(*against.findings, **against.context)


def test_the_sweep_is_over_every_item_that_can_be_called_for() -> None:
    assert {one.item for one in RULES} == {i.id for i in PROTOCOL.items if i.needed_when}
    assert len(RULES) == 114
