"""Names that look alike: what a person cannot tell apart must not name two things.

After the idea of the skeleton in Unicode Technical Standard 39, section 4: two names with one
skeleton are confusable. The table of letters is our own choice of those that look alike in most
typefaces (memory), far smaller than the standard's.
"""

from __future__ import annotations

import re
import unicodedata

PAIRS = {
    "а": "a", "в": "b", "с": "c", "е": "e", "н": "h", "і": "i", "ј": "j", "к": "k", "м": "m",
    "о": "o", "р": "p", "ѕ": "s", "т": "t", "у": "y", "х": "x", "ԁ": "d", "ԛ": "q", "ѡ": "w",
    "α": "a", "β": "b", "ε": "e", "η": "h", "ι": "i", "κ": "k", "ν": "v", "ο": "o", "ρ": "p",
    "τ": "t", "υ": "y", "χ": "x", "μ": "m", "ζ": "z",
    "0": "o", "1": "l", "i": "l", "|": "l", "ı": "l",
}  # fmt: skip
"""Small letters of Cyrillic and Greek that are seen as Latin ones, and figures seen as letters."""
DASHES = "‐‑‒–—―−_"


def skeleton(name: str) -> str:
    """Equal for two names that look alike: case, width, accents' form, spaces, dashes, letters."""
    plain = unicodedata.normalize("NFKC", name)
    plain = "".join(letter for letter in plain if not is_unseen(letter))
    folded = unicodedata.normalize("NFKC", plain.casefold())
    for dash in DASHES:
        folded = folded.replace(dash, "-")
    looked = "".join(PAIRS.get(letter, letter) for letter in folded)
    return "".join(PAIRS.get(letter, letter) for letter in looked).replace(" ", "")


def is_unseen(letter: str) -> bool:
    """Whether a character shows nothing of itself: controls, joiners, marks of direction."""
    return (
        unicodedata.category(letter) in ("Cc", "Cf", "Co", "Cn", "Cs") or letter in "\u3164\u115f"
    )


def has_unseen(name: str) -> bool:
    """Whether any character of a name shows nothing of itself."""
    return any(is_unseen(letter) for letter in name)


DATE = re.compile(
    r"(?<!\d)("
    r"\d{1,2}[./-]\d{1,2}[./-](\d{4}|\d{2})"  # 12.03.1960, 1/2/60
    r"|(19|20)\d{2}[./-]?\d{2}[./-]?\d{2}"  # 1960-03-12, 19600312
    r"|\d{4}(19|20)\d{2}"  # 12031960
    r")(?!\d)"
)
"""Days as people write them, with marks between or without (our judgement)."""


def looks_like_a_person(code: str) -> str:
    """Why a code looks like somebody's own name or birthday; "" where it does not.

    A day, or two words and more of letters alone. It asks and never refuses: a code may be two
    words (our judgement).
    """
    if DATE.search(code):
        return "a date"
    words = re.split(r"[\s,;.]+", code.strip())
    named = [word for word in words if len(word) > 1 and word.replace("'", "").isalpha()]
    has_number = any(letter.isdigit() for letter in code)
    return "a name" if len(named) > 1 and not has_number else ""
