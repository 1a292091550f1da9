"""Phrases with one meaning each, found in a text by the longest match."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from sidewise.errors import UserError


@dataclass(frozen=True, slots=True)
class PhraseMeaning:
    """What a phrase stands for: a name of the grammar and its value."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class PhraseFound:
    """A phrase found in the text: what it means and where it ends."""

    meaning: Any
    end: int


class Phrases:
    """Phrases with one meaning each, found by the longest match."""

    def __init__(self, where: str, owned: bool = False) -> None:
        self.where = where
        # Names of persons may own the manoeuvre: "Speed's", "Hawkins'".
        self.owner = r"(?:['’]s?)?" if owned else ""
        self.meanings: dict[str, Any] = {}
        self.written: dict[str, str] = {}

    def __contains__(self, phrase: str) -> bool:
        return comparable_phrase(phrase) in self.meanings

    def add(self, phrase: str, meaning: Any, instead: bool = False) -> None:
        """Adds a phrase; UserError if it already means something else (unless `instead`)."""
        key = comparable_phrase(phrase)
        there = self.meanings.get(key)
        if there not in (None, meaning) and not instead:
            raise UserError(f"{self.where}: {phrase}", f"{there} and {meaning}", "one meaning")
        self.meanings[key] = meaning
        self.written[key] = phrase

    @cached_property
    def _patterns(self) -> dict[str, re.Pattern[str]]:
        """One pattern for each first letter: only phrases that can match are tried."""
        by_letter: dict[str, list[str]] = {}
        for phrase in sorted(self.written.values(), key=len, reverse=True):
            by_letter.setdefault(phrase[0].lower(), []).append(_as_pattern(phrase, self.owner))
        return {
            letter: re.compile("|".join(some), re.I | re.A) for letter, some in by_letter.items()
        }

    def match(self, text: str, place: int, end: int) -> PhraseFound | None:
        """The longest phrase that starts at `place`, or None."""
        pattern = self._patterns.get(text[place : place + 1].lower())
        found = pattern.match(text, place, end) if pattern else None
        return (
            PhraseFound(self.meanings[comparable_phrase(found.group())], found.end())
            if found
            else None
        )


def comparable_phrase(phrase: str) -> str:
    """A phrase as it is compared: small letters, single spaces, no commas, no inner hyphens."""
    owned = re.sub(r"(?<=\w)['’]s?$", "", phrase)
    return " ".join(re.sub(r"(?<=\w)-(?=\w)|,|_|:(?=\s)", " ", owned).lower().split())


def _as_pattern(phrase: str, owner: str) -> str:
    words = re.split(r"(,?\s+|(?<=\w)-(?=\w)|_)", phrase)
    parts = [
        (r"(?:\s*,\s*|\s+)" if "," in word else r"(?::?\s+|-|_)") if place % 2 else re.escape(word)
        for place, word in enumerate(words)
    ]
    # A word ends where a word ends; a symbol stands alone.
    last = phrase[-1]
    edge = r"(?![A-Za-z0-9_])" if last.isalnum() or last == "°" else r"(?=[\s,;]|$)"
    return "".join(parts) + (owner if last.isalpha() else "") + edge


def filler_pattern(words: list[str]) -> re.Pattern[str]:
    """Words that say nothing of what was found: "on the", "sign", "joint"."""
    spoken = "|".join(sorted(map(re.escape, words), key=len, reverse=True))
    return re.compile(rf"(?:(?:{spoken})(?![A-Za-z0-9_'’-])|[=:]|\s)+", re.I | re.A)
