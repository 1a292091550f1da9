"""Chances that fit are no praise for what was not looked for."""

from __future__ import annotations

import pytest

from sidewise.practice.feedback.advice import _nothing


@pytest.mark.parametrize(
    ("flags", "essentials", "told"),
    [(18, 58, "essentials not done: 58; flags that nobody excluded: 18"),
     (1, 0, "known: flags that nobody excluded: 1"), (0, 1, "known: essentials not done: 1")],
)  # fmt: skip
def test_what_was_not_looked_for_is_said_and_never_praised(
    flags: int, essentials: int, told: str
) -> None:
    words = _nothing(flags, essentials).words
    assert told in words
    assert "Well done" not in words


def test_praise_is_for_who_left_nothing_out() -> None:
    assert "Well done" in _nothing(0, 0).words
