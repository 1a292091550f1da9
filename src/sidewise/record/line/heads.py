"""The head of an entry: what stands before the name, and the name or names."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sidewise.record.line.phrases import Phrases
from sidewise.record.line.subjects import Subject
from sidewise.record.line.words import LineWords

BETWEEN = re.compile(r"\s*(,|/|&|(?:and|or)\b)\s*", re.I)
BEFORE = 6
"""Words that may stand before a name: "no tenderness on the left over the AC joint"."""


@dataclass(frozen=True, slots=True)
class Named:
    """A name in the text, from `start` up to `end`."""

    subject: Subject
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Head:
    """What stands before the first name (from `start` on), the names, and where they end."""

    start: int
    names: tuple[Named, ...]

    @property
    def end(self) -> int:
        """Where the last name ends."""
        return self.names[-1].end


def read_head(text: str, start: int, words: LineWords) -> Head | None:
    """The head that begins at `start`, or None if what stands there names nothing.

    The nearest name counts before which all is known of it; the name of an item before one that
    sums several up ("full ROM active flexion" is a flexion).
    """
    summary = None
    for place in word_starts(text, start):
        named = _named(text, place, words)
        if named and _known_before(text, start, place, named.subject, words):
            if not named.subject.summary:
                return Head(start, (named, *_more_names(text, named, words)))
            summary = summary or named
    return Head(start, (summary,)) if summary else None


def word_starts(text: str, start: int) -> Iterator[int]:
    """Where words start, up to a comma or quote, a few of them."""
    stretch = re.compile(r'[^,"]*').match(text, start)
    end = stretch.end() if stretch else start
    found = re.compile(r"[^\s()]+").finditer(text, start, end)
    yield from (match.start() for match, _ in zip(found, range(BEFORE), strict=False))


def _named(text: str, place: int, words: LineWords) -> Named | None:
    hit = words.subjects.match(text, place, len(text))
    if hit is None:
        return None
    named = Named(hit.meaning, place, hit.end)
    # "Gerber's lift-off" is one name said twice over.
    again = words.subjects.match(text, _after_fillers(text, hit.end, words), len(text))
    if again and again.meaning == hit.meaning:
        return Named(hit.meaning, place, again.end)
    return named


def _known_before(text: str, start: int, end: int, subject: Subject, words: LineWords) -> bool:
    """Whether all that stands before the name may be said of one of the items it names."""
    if subject.summary:
        return _known_to(text, start, end, words.summing, words)
    return any(_known_to(text, start, end, words.of(item), words) for item in subject.items)


def _known_to(text: str, start: int, end: int, phrases: Phrases, words: LineWords) -> bool:
    while (start := _after_fillers(text, start, words)) < end:
        hit = phrases.match(text, start, end)
        if hit is None:
            return False
        start = hit.end
    return True


def _after_fillers(text: str, place: int, words: LineWords) -> int:
    found = words.fillers.match(text, place)
    return found.end() if found else place


def _more_names(text: str, first: Named, words: LineWords) -> tuple[Named, ...]:
    """Further names that share what follows: "Neer and Hawkins pos R", "Neer, Jobe & Speed neg"."""
    found: list[tuple[str, Named]] = []
    place = first.end
    while joint := BETWEEN.match(text, _after_fillers(text, place, words)):
        named = _named(text, joint.end(), words)
        if named is None:
            break
        found.append((joint.group(1), named))
        place = named.end
    # A comma alone may begin something new; "and" says that the names belong together.
    while found and found[-1][0] == ",":
        found.pop()
    return tuple(named for _, named in found)
