"""Kinds of visit: what each has, how long it takes, and what is refused when a region is opened."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from sidewise.errors import UserErrors
from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.protocol.visits import seconds_of
from sidewise.reason.judging.visit_calls import visit_rules
from tests.shoulder import PROTOCOL, SHOULDER

KINDS = {kind.id: kind for kind in PROTOCOL.visits.kinds}
FOCUSED = [name for name in KINDS if name != "full"]
SETS_UP = {"hands_cleaned", "identity_checked", "consent_given", "chaperone_offered",
           "both_exposed", "next_explained"}  # fmt: skip


def region_with(change: Any) -> Region:
    """The shoulder with its kinds of visit changed."""
    parts = {**{name: SHOULDER.parts[name] for name in SHOULDER.parts}}
    parts["visits"] = copy.deepcopy(parts["visits"])
    change(parts["visits"])
    return Region(SHOULDER.id, SHOULDER.label, SHOULDER.folder, "changed", parts)


def refusal(change: Any) -> str:
    region = region_with(change)
    with pytest.raises(UserErrors) as refused:
        visit_rules(region)
    return " ".join(str(refused.value).split())


def test_the_kinds_asked_for_are_there() -> None:
    assert list(KINDS) == [
        "full", "short", "stiff", "weak", "injured", "after_operation", "follow_up",
    ]  # fmt: skip
    assert [name for name, kind in KINDS.items() if kind.follows] == ["follow_up"]


def test_a_full_visit_takes_at_most_twelve_minutes_and_every_other_at_most_four() -> None:
    took = {name: seconds_of(kind, PROTOCOL) for name, kind in KINDS.items()}
    assert 10 * 60 < took.pop("full") <= 12 * 60
    assert len(took) == 6
    assert all(3 * 60 <= seconds <= 4 * 60 for seconds in took.values()), took


@pytest.mark.parametrize("name", FOCUSED)
def test_preparing_and_saying_what_comes_next_belong_to_every_kind(name: str) -> None:
    """Every marking sheet begins with these (common practice, no source)."""
    assert set(KINDS[name].items or ()) >= SETS_UP


@pytest.mark.parametrize("name", FOCUSED)
def test_a_focused_visit_has_a_heading_that_says_it_is_not_a_full_one(name: str) -> None:
    heading = KINDS[name].heading
    assert "not a full" in heading
    assert heading.split(":")[0].split(",")[0].isupper()


def test_what_an_injury_must_not_miss_is_always_in_its_visit() -> None:
    """Vessel, axillary nerve, skin and neck before movement (common practice, no source)."""
    wanted = {"radial_pulse", "hand_colour", "axillary_patch", "skin_threatened", "deltoid_contour",
              "neck_midline_tenderness", "humeral_shaft_tenderness"}  # fmt: skip
    assert wanted <= set(KINDS["injured"].items or ())


def test_the_rules_of_every_kind_can_be_answered() -> None:
    rules = visit_rules(SHOULDER)
    assert list(rules) == list(KINDS)
    assert sum(map(len, rules.values())) >= 10


def set_items(*names: str) -> Any:
    return lambda visits: visits["kinds"][1].update(items=list(names))


def set_call(rule: Any, because: str = "A reason of ten letters.") -> Any:
    call = {"items": ["crepitus"], "rule": rule, "because": because}
    return lambda visits: visits["kinds"][1].update(calls=[call])


BELOW_NOUGHT = {
    "item": "flexion",
    "is": {"test": "angle", "mode": "passive", "at_most": -5},
}


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (set_items("warmht"), 'visits.yaml: short: items: got "warmht", expected an item of the '
         "protocol. Did you mean warmth"),
        (set_items(*PROTOCOL.by_id), "expected at most 240. Take an item out"),
        (set_call({"ask": "fewer"}), 'visits.yaml: short: calls[0]: got "question fewer", expected '
         "words the protocol can answer. Correct the word"),
        (set_call(BELOW_NOUGHT), "nought or more"),
        (set_call({"perhaps": []}), "visits.yaml: short: calls[0]"),
        (lambda v: v["kinds"][1].update(heading=""), "how its note begins"),
        (lambda v: v["kinds"].pop(0), 'one kind without `items`, called "full"'),
        (lambda v: v["kinds"].append(v["kinds"][1]), "each kind once"),
        (lambda v: v["carries"].append("history.mood"), 'visits.yaml: carries: got "history.mood"'),
        (lambda v: v["carries"].append("pain_0_10"), "Only what lasts is carried"),
    ],
)  # fmt: skip
def test_kinds_that_cannot_be_used_are_refused(change: Any, message: str) -> None:
    assert message in refusal(change)


def test_a_region_without_kinds_of_visit_has_the_full_one() -> None:
    parts = {name: SHOULDER.parts[name] for name in SHOULDER.parts if name != "visits"}
    bare = Region(SHOULDER.id, SHOULDER.label, SHOULDER.folder, "bare", parts)
    assert protocol_of(bare).visits.names == ("full",)
    assert "one kind of visit" in bare.without("visits")[0]
