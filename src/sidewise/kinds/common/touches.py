"""What one touch on a screen can record, as data: no page and no HTML is known here."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

Now = dict[str, Any]
"""The value that stands at the place, as plain data; empty where none stands."""


@dataclass(frozen=True, slots=True)
class Touch:
    """One touch: its label, the value it records, and whether that is what stands recorded.

    `said` is the label for a screen reader where the visible one is too short.
    """

    label: str
    value: dict[str, Any]
    said: str = ""
    pressed: bool = False
    normal: bool = False


def no_touches(_limits: Any, _now: Now) -> Iterator[Touch]:
    """For a kind that is typed: a number, or words."""
    return iter(())


def no_normal(_limits: Any) -> None:
    """For a kind whose normal is a number of the person's own, or that has none."""


def one_word_each(
    kind: str, field: str, words: Iterable[str], now: Now, normal: str
) -> Iterator[Touch]:
    """One touch for each word of a closed list."""
    for word in words:
        yield Touch(word, {"kind": kind, field: word}, "", now.get(field) == word, word == normal)
