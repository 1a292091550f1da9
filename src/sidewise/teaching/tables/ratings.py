"""Global ratings of a file: words of the scale, or places whose first number must be known."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sidewise.teaching.tables.columns import BLANKS, RatingScale
from sidewise.teaching.tables.row_checks import Faults

if TYPE_CHECKING:
    import pandas as pd


def parse_ratings(text: pd.Series[str], scale: RatingScale, faults: Faults) -> pd.Series[float]:
    """Places from 0, NaN where no rating was given; every strange word named by its row.

    Numbers without a 0 among them may be counted from 0 or from 1. Read wrongly every rating would
    move a grade and the pass mark with it, so it is asked.
    """
    spellings = {value: value.strip().casefold() for value in text.unique()}
    first = _counted_from(text, spellings, scale, faults)
    codes: dict[str, float] = scale.codes(first)
    known = {value: _place(word, codes, scale) for value, word in spellings.items()}
    unknown = [v for v, word in spellings.items() if known[v] != known[v] and word not in BLANKS]
    rows = text[text.isin(unknown)] if unknown else text.iloc[:0]
    for row, word in rows.items():
        faults.ask(
            [row], "global_rating", word, _expected(scale, first),
            "Say the words of your own scale with --ratings.", "ratings",
        )  # fmt: skip
    return text.map(known).astype(float)


def _place(word: str, codes: dict[str, float], scale: RatingScale) -> float:
    """The place of a rating; half way between two for "2.5" or "2,5"; NaN when it is none."""
    whole, half = word.replace(",", ".")[:-2], word.replace(",", ".").endswith(".5")
    if half and whole in codes and not scale.numbered:
        place = codes[whole] + 0.5
        return place if place < len(scale.words) - 1 else float("nan")
    return codes.get(word, float("nan"))


def _expected(scale: RatingScale, first: int) -> str:
    words = f"one of: {', '.join(scale.words)}"
    if scale.numbered:
        return words
    return f"{words}, or its place from {first} to {first + len(scale.words) - 1}"


def _counted_from(
    text: pd.Series[str], spellings: dict[str, str], scale: RatingScale, faults: Faults
) -> int:
    """0 or 1: as said, or as a 0 in the file shows; else asked."""
    if scale.counts_from is not None:
        return scale.counts_from
    numbers = {v: word.removesuffix(".0") for v, word in spellings.items()}
    places = {
        value: int(word) for value, word in numbers.items() if word.isascii() and word.isdigit()
    }
    if scale.numbered or not places or 0 in places.values():
        return 0
    rows = text[text.isin(list(places))]
    low, high = min(places.values()), max(places.values())
    worst, best = scale.words[0], scale.words[-1]
    faults.ask(
        [rows.index[0]], "global_rating", f"numbers from {low} to {high} and no 0",
        f"to know whether {worst} is 0 or 1",
        f"Say --ratings-from 1 when 1 is {worst} ({len(scale.words)} is {best}), or --ratings-from "
        f"0 when 0 is {worst} and nobody got it.",
        "ratings_from", ("0", "1"),
    )  # fmt: skip
    return 1
