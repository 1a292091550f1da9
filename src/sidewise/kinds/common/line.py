"""How a kind of value stands in a typed line: what may be said of it, and what that means.

A reader gets what was said, by name, and the item's limits. It returns the values that the words
may mean, with a label each: none (the words are not of this kind), one and sure, or some to be
asked about. Nothing is filled in that was not said.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

Said = dict[str, Any]
"""What was said of one reading, each thing once, by its name in the grammar."""


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number and the unit that was said with it, if any."""

    number: float
    unit: str | None


@dataclass(frozen=True, slots=True)
class Lag:
    """Whether a lag was said to be there, and its degrees if given."""

    there: bool
    degrees: float | None


@dataclass(frozen=True, slots=True)
class Meant:
    """A value the words may mean, as plain data, and how it is put in a question."""

    value: dict[str, Any]
    label: str = ""


@dataclass(frozen=True, slots=True)
class Options:
    """What the words may mean; `ask` says what is not clear when it has to be asked."""

    meant: tuple[Meant, ...]
    ask: str = ""


def no_words(_limits: Any) -> tuple[str, ...]:
    """For a kind without words of its own."""
    return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Shorthand:
    """One kind of value in a typed line.

    names: the names of the grammar that an item of this kind takes, besides those of every item.
    said: the names under which the reader finds what was said; anything else is of another kind.
    read: from what was said and the limits to what it may mean, or None.
    write: from a value and its limits to words that read back as the same value.
    words: the words of a closed list, which come before the trade's general ones.
    graded: whether "4+" and "4/5" are grades.
    """

    names: Callable[[Any], tuple[str, ...]] = no_words
    said: Callable[[Any], frozenset[str]]
    read: Callable[[Said, Any], Options | None]
    write: Callable[[Any, Any], Iterator[str]]
    words: Callable[[Any], tuple[str, ...]] = no_words
    graded: bool = False


def fixed_names(*names: str) -> Callable[[Any], tuple[str, ...]]:
    """The same names whatever the limits."""
    return lambda _limits: names


def fixed_set(*names: str) -> Callable[[Any], frozenset[str]]:
    """The same set of names whatever the limits."""
    every = frozenset(names)
    return lambda _limits: every


def one_meaning(kind: str, **value: Any) -> Options:
    """One value and no question; a field that was not said is left out."""
    stated = {name: given for name, given in value.items() if given is not None}
    return Options((Meant({"kind": kind, **stated}),))


def two_meanings(value: dict[str, Any], one: str, other: str) -> Options:
    """A result that was not said: one of two, to be asked."""
    meant = [Meant({**value, "result": word}, word) for word in (one, other)]
    return Options(tuple(meant), f"{one} or {other}")


def plain_number(quantity: Quantity | None, *units: str | None) -> float | None:
    """The number, if it was said with one of these units (None: without any)."""
    if quantity is None or quantity.unit not in units:
        return None
    return quantity.number


def measured_value(
    kind: str, said: Said, field: str, word: str, parts: dict[str, int]
) -> Options | None:
    """A number with one of these units (so many parts of the field's unit); asked for without."""
    quantity: Quantity | None = said.get("number")
    if quantity is None or quantity.unit not in (None, *parts):
        return None
    if quantity.unit is not None:
        return one_meaning(kind, **{field: quantity.number / parts[quantity.unit]})
    bare = {"kind": kind, field: quantity.number}
    return Options((Meant(bare, f"{quantity.number:g} {word}"),), "which unit")


def one_word(said: Said, among: tuple[str, ...]) -> str | None:
    """The one word said, if it is of this list."""
    words: tuple[str, ...] = said.get("options", ())
    return words[0] if len(words) == 1 and words[0] in among else None


def place_said(said: Said, words: list[str], known: tuple[str, ...]) -> Any:
    """The place said, None if none was, False if it does not fit."""
    if "AT" in said:
        return False if words else said["AT"]
    if not words:
        return None
    return words[0] if len(words) == 1 and words[0] in known else False


def exact_number(number: float) -> str:
    """A number that reads back exactly, without a needless ".0"."""
    return str(int(number)) if number == int(number) and abs(number) < 1e15 else repr(number)


def quoted_text(text: str) -> str:
    """Text in quotes that reads back exactly."""
    return json.dumps(text, ensure_ascii=False)


def word_with_text(word: str, text: str | None) -> Iterator[str]:
    """A word and the quoted text that belongs to it, where there is one."""
    if text is not None:
        yield f"{word} {quoted_text(text)}"


def pain_words(pain: bool | None) -> Iterator[str]:
    """Whether it hurt, where that was stated."""
    if pain is not None:
        yield "pain" if pain else "no pain"


def instrument_words(instrument: str | None) -> Iterator[str]:
    """What it was read with, where that was stated."""
    if instrument:
        yield f"by {instrument}"


def limited_words(limited: bool) -> Iterator[str]:
    """That pain stopped the effort."""
    if limited:
        yield "limited by pain"
