"""What a table of marks holds: its columns, its words and its scale of global ratings."""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.errors import UserError

IDS = ("sitting", "circuit", "session", "student", "station", "examiner", "item")
OPTIONAL = ("time", "group")
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
}

# Written by people and programs for "nothing here"; compared in lower case.
BLANKS = frozenset({"", "na", "n/a", "nan", "null", "none"})
YES = frozenset({"yes", "y", "true", "1", "1.0", "x"})
NO = frozenset({"no", "n", "false", "0", "0.0"}) | BLANKS


@dataclass(frozen=True, slots=True)
class RatingScale:
    """The ordered words of the global rating, lowest first, and which one is borderline.

    In a file a rating is one of the words or, when no word matches, its place counted from 0.
    """

    words: tuple[str, ...] = ("fail", "borderline", "pass", "good", "excellent")
    borderline: int = 1

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

    def codes(self) -> dict[str, float]:
        """Every accepted spelling, in lower case, with its place on the scale."""
        places = {str(i): float(i) for i in range(len(self.words))}
        places |= {f"{i}.0": float(i) for i in range(len(self.words))}
        return places | {word.casefold(): float(i) for i, word in enumerate(self.words)}

    def word(self, code: float) -> str:
        """The word of a place on the scale."""
        return self.words[int(code)]


def rating_scale(words: str | None, borderline: str | None) -> RatingScale:
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
    return RatingScale(names, int(place))
