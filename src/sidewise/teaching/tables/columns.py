"""What a table of marks holds: its columns, its words and its scale of global ratings."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sidewise.errors import UserError
from sidewise.ground.arrays import Array

IDS = ("sitting", "circuit", "session", "student", "station", "examiner", "item")
OPTIONAL = ("time", "group", "domain", "stage", "linking")
NUMBERS = ("mark", "maximum", "weight")
OTHERS = ("global_rating", "critical_error", "comment", *OPTIONAL)
COLUMNS = (*IDS, *NUMBERS, *OTHERS)
REQUIRED = ("student", "station", "examiner", "mark", "maximum")

# A column that is absent altogether stands for one sitting, one circuit, one session, one item
# (the station's total) of weight 1. An absent rating is unknown, never a grade.
DEFAULTS = {
    "sitting": "1",
    "circuit": "1",
    "session": "1",
    "item": "total",
    "weight": "1",
    "global_rating": "",
    "critical_error": "",
    "comment": "",
    "time": "",
    "group": "",
    "domain": "",
    "stage": "",
    "linking": "",
}

# Written by people and programs for "nothing here"; compared in lower case.
BLANKS = frozenset({"", "na", "n/a", "nan", "null", "none"})
YES = frozenset({"yes", "y", "true", "1", "1.0", "x"})
NO = frozenset({"no", "n", "false", "0", "0.0"}) | BLANKS


@dataclass(frozen=True, slots=True)
class RatingScale:
    """The ordered words of the global rating, lowest first, and which one is borderline.

    In a file a rating is one of the words or, when no word is a number, its place. `counts_from` is
    the number of the lowest place (0 or 1), None where the file must show it. `positions` are the
    words' numbers when their steps are unequal, lowest first; empty: 0, 1, 2 and so on.
    """

    words: tuple[str, ...] = ("fail", "borderline", "pass", "good", "excellent")
    borderline: int = 1
    counts_from: int | None = None
    positions: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        lowered = [word.casefold() for word in self.words]
        if len(self.words) < 2 or len(set(lowered)) != len(lowered):
            raise UserError(
                "ratings",
                ", ".join(self.words),
                "at least two different words, lowest first",
                "Separate the words by commas.",
            )
        if not 0 <= self.borderline < len(self.words):
            raise UserError(
                "borderline",
                self.borderline,
                f"a place from 0 to {len(self.words) - 1} on the scale of ratings",
                "Counted from 0, the lowest word first.",
            )
        if self.borderline == len(self.words) - 1:
            raise UserError(
                "borderline",
                self.words[-1],
                "a rating with a better one above it",
                f"Nobody could be rated above {self.words[-1]}: most of the class would fail. Give "
                "the words lowest first.",
            )
        if self.counts_from not in (None, 0, 1):
            raise UserError("ratings-from", self.counts_from, "0 or 1", "")
        _check_positions(self.positions, len(self.words))

    @property
    def standing(self) -> tuple[float, ...]:
        """Where each word stands, lowest first."""
        return self.positions or tuple(float(i) for i in range(len(self.words)))

    @property
    def numbered(self) -> bool:
        """Whether the words are numbers themselves, so that places would be read twice."""
        return any(word.strip().isdigit() for word in self.words)

    def at_positions(self, places: Array) -> Array:
        """Places (0, 1, 2 ...; means of several between) as positions; NaN stays NaN."""
        return np.interp(places, np.arange(len(self.words)), self.standing)

    def codes(self, counts_from: int = 0) -> dict[str, float]:
        """Every accepted spelling, in lower case, with its place on the scale from 0."""
        words = {word.casefold(): float(i) for i, word in enumerate(self.words)}
        if self.numbered:
            return words | {f"{word}.0": place for word, place in words.items() if word.isdigit()}
        numbers = range(counts_from, counts_from + len(self.words))
        places = {str(n): float(n - counts_from) for n in numbers}
        return places | {f"{n}.0": float(n - counts_from) for n in numbers} | words

    def word(self, code: float) -> str:
        """The word of a place on the scale."""
        return self.words[int(code)]


def _check_positions(positions: tuple[float, ...], words: int) -> None:
    if not positions:
        return
    rising = all(a < b for a, b in pairwise(positions))
    if len(positions) != words or not rising:
        raise UserError(
            "positions", ", ".join(f"{p:g}" for p in positions),
            f"{words} rising numbers, one for each rating", "For example 0,0.33,0.55,0.77,1.",
        )  # fmt: skip


def rating_scale(
    words: str | None,
    borderline: str | None,
    counts_from: int | None = None,
    positions: str | None = None,
) -> RatingScale:
    """The scale from what was typed: words separated by commas, and the borderline word."""
    names = tuple(word.strip() for word in words.split(",")) if words else RatingScale().words
    place = RatingScale(names, 0).codes().get((borderline or "borderline").strip().casefold())
    if place is None:
        raise UserError(
            "borderline",
            borderline or "borderline",
            f"one of the ratings: {', '.join(names)}",
            "Say with --borderline which of the ratings is the borderline one.",
        )
    return RatingScale(names, int(place), counts_from, _positions(positions))


def _positions(text: str | None) -> tuple[float, ...]:
    try:
        return tuple(float(part) for part in text.split(",")) if text else ()
    except ValueError as error:
        raise UserError(
            "positions", text, "numbers separated by commas", "For example 0,0.33,0.55,0.77,1."
        ) from error
