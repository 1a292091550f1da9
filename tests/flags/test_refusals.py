"""What the loader of the flags refuses: it says where, what, what was wanted and what to do."""

from __future__ import annotations

import copy
from typing import Any

import pytest

from sidewise.errors import UserError
from sidewise.reason.judging.flags import flag_book
from tests.shoulder import BOOK, PROTOCOL, SHOULDER

DATA = SHOULDER.part("red_flags")
CONDITIONS = {entry["id"] for entry in SHOULDER.part("conditions")["conditions"]}


def changed(**update: Any) -> dict[str, Any]:
    """The flags of the region with the last one changed."""
    data = copy.deepcopy(DATA)
    data["flags"][-1].update(update)
    return data


def test_the_region_itself_is_taken() -> None:
    assert flag_book(DATA, PROTOCOL, CONDITIONS) == BOOK


@pytest.mark.parametrize("nothing", [None, "", "  "])
def test_a_flag_without_what_to_do_is_refused(nothing: str | None) -> None:
    with pytest.raises(UserError) as refused:
        flag_book(changed(do=nothing), PROTOCOL, CONDITIONS)
    error = refused.value
    assert error.where == "red_flags.yaml: pathological_fracture"
    assert "what to do" in str(error)
    assert error.do.endswith("`do` to the flag.")


@pytest.mark.parametrize(
    ("rule", "word"),
    [
        ({"ask": "feverish"}, "question feverish"),
        ({"item": "warmness", "is": {"test": "one_of", "values": ["hot"]}}, "item warmness"),
        ({"item": "warmth", "is": {"test": "one_of", "values": ["boiling"]}}, "boiling"),
        ({"item": "heart_rate", "is": {"test": "sign"}}, "sign asked of a vital sign"),
    ],
)
def test_a_word_that_resolves_to_nothing_is_refused(rule: dict[str, Any], word: str) -> None:
    with pytest.raises(UserError) as refused:
        flag_book(changed(when=rule, figures=[], called_for_by=None), PROTOCOL, CONDITIONS)
    assert refused.value.where == "red_flags.yaml: pathological_fracture"
    assert word in str(refused.value.got)
    assert refused.value.do


def test_a_threshold_below_zero_is_refused() -> None:
    lag = {"test": "angle", "mode": "passive", "at_most": -5}
    figure = {"what": "flexion", "value": -5, "mark": "memory", "source": "none at all"}
    broken = changed(when={"item": "flexion", "is": lag}, figures=[figure], called_for_by=None)
    with pytest.raises(UserError) as refused:
        flag_book(broken, PROTOCOL, CONDITIONS)
    assert refused.value.where.endswith("pathological_fracture: flexion")
    assert refused.value.got == -5
    assert "nought" in str(refused.value)


@pytest.mark.parametrize(
    ("part", "broken"),
    [
        ("ordinary", ["tiredness"]),
        ("plain_words", {"skin": ["skin_colour"]}),
        ("meaningless_groups", {"joint": {"label": "x", "conditions": ["gout"]}}),
        ("meaningless_groups", {"joint": {"label": "x", "families": ["bones"]}}),
        ("meaningless_groups", {"joint": {"label": "x", "readings": ["neer_noise"]}}),
    ],
)
def test_a_list_that_names_nothing_known_is_refused(part: str, broken: Any) -> None:
    data = copy.deepcopy(DATA)
    data[part] = {**data[part], **broken} if isinstance(broken, dict) else broken
    with pytest.raises(UserError) as refused:
        flag_book(data, PROTOCOL, CONDITIONS)
    assert refused.value.where.startswith(f"red_flags.yaml: {part}")
    assert refused.value.do


@pytest.mark.parametrize("field", ["withhold", "meaningless"])
def test_a_group_that_does_not_exist_is_refused(field: str) -> None:
    with pytest.raises(UserError, match=f"unknown {field} groups"):
        flag_book(changed(**{field: ["nothing"]}), PROTOCOL, CONDITIONS)


@pytest.mark.parametrize("field", ["purpose", "everyday", "why", "suspect"])
def test_a_flag_says_what_it_is_for_and_what_looks_like_it(field: str) -> None:
    data = changed()
    del data["flags"][-1][field]
    with pytest.raises(UserError, match=field):
        flag_book(data, PROTOCOL, CONDITIONS)


def test_every_flag_speaks_a_plain_purpose() -> None:
    assert len({flag.purpose for flag in BOOK.flags}) == len(BOOK.flags) >= 56
    assert all(flag.purpose.endswith("?") for flag in BOOK.flags)
    assert all(flag.do.endswith(".") and flag.everyday.endswith(".") for flag in BOOK.flags)
