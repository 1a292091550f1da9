"""The words a line may use: the trade's, and each region's own names of its items.

A phrase that could mean two things is refused when the words are loaded.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from sidewise.errors import UserError
from sidewise.protocol import Item, Protocol, load_protocol
from sidewise.protocol.loader import read_yaml, region_folder
from sidewise.record.values import LEVELS

WORDS = Path(__file__).with_name("words.yaml")
FILE = "line_words.yaml"

ALWAYS = ("SIDE", "STATUS", "AND", "NO", "NOTE", "EXAMINER", "REPEAT", "TOGETHER")
BY_KIND: dict[str, tuple[str, ...]] = {
    "sign": ("AT",),
    "normal_by_eye": ("EYE",),
    "tenderness": ("TENDER", "FAMILIAR"),
    "angle": ("ASPECT", "FEEL", "INSTRUMENT", "POSITION", "SD", "UNIT"),
    "arc": ("PAINLESS",),
    "level": ("ASPECT",),
    "length": ("UNIT",),
    "seconds": ("UNIT", "NONE"),
    "count": (),
    "mrc": ("ASPECT",),
    "force": ("ASPECT", "UNIT", "INSTRUMENT"),
    "result": ("RESULT", "ASPECT", "LAG", "UNIT", "AT"),
    "choice": (),
    "place": ("PLACE", "VIEW", "X", "Y", "STRUCTURE"),
    "reflex": (),
    "sensation": ("SENSE",),
    "pulse": (),
    "vital": ("UNIT",),
    "text": (),
}
"""Which names of the grammar an item takes, by the kinds of value it takes."""

FIXED: dict[str, tuple[str, ...]] = {
    "reflex": ("absent", "reduced", "normal", "brisk", "brisk with spread"),
    "sensation": ("normal", "reduced", "absent", "heightened"),
    "pulse": ("normal", "weak", "absent"),
    "level": LEVELS,
}
SEEN_OR_NOT = ("absent", "present")


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a phrase stands for: a name of the grammar and its value."""

    name: str
    value: str


@dataclass(frozen=True, slots=True)
class Subject:
    """The item a phrase names, and what the phrase says besides (light touch, not tender)."""

    item: str
    implied: Meaning | None = None


@dataclass(frozen=True, slots=True)
class Hit:
    """A phrase found in the text: what it means and where it ends."""

    meaning: Any
    end: int


class Phrases:
    """Phrases with one meaning each, found by the longest match."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.meanings: dict[str, Any] = {}
        self.written: dict[str, str] = {}

    def add(self, phrase: str, meaning: Any, instead: bool = False) -> None:
        """Adds a phrase; UserError if it already means something else (unless `instead`)."""
        key = said(phrase)
        there = self.meanings.get(key)
        if there not in (None, meaning) and not instead:
            raise UserError(f"{self.where}: {phrase}", f"{there} and {meaning}", "one meaning")
        self.meanings[key] = meaning
        self.written[key] = phrase

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        phrases = sorted(self.written.values(), key=len, reverse=True)
        return re.compile("|".join(map(_as_pattern, phrases)) or r"(?!)", re.I | re.A)

    def match(self, text: str, place: int, end: int) -> Hit | None:
        """The longest phrase that starts at `place`, or None."""
        found = self._pattern.match(text, place, end)
        return Hit(self.meanings[said(found.group())], found.end()) if found else None


def said(phrase: str) -> str:
    """A phrase as it is compared: small letters, single spaces, no commas, no inner hyphens."""
    return " ".join(re.sub(r"(?<=\w)-(?=\w)|,|_", " ", phrase).lower().split())


def _as_pattern(phrase: str) -> str:
    words = re.split(r"(,?\s+|(?<=\w)-(?=\w)|_)", phrase)
    parts = [
        (r"(?:\s*,\s*|\s+)" if "," in word else r"(?:\s+|-|_)") if place % 2 else re.escape(word)
        for place, word in enumerate(words)
    ]
    # A word ends where a word ends; a symbol stands alone.
    last = phrase[-1]
    edge = r"(?![A-Za-z0-9_])" if last.isalnum() or last == "°" else r"(?=[\s,;]|$)"
    return "".join(parts) + edge


@dataclass(frozen=True)
class Words:
    """Everything a line in one region may be made of."""

    protocol: Protocol
    general: dict[str, dict[str, tuple[str, ...]]]
    subjects: Phrases
    names: dict[str, str]
    attached: dict[str, dict[str, str]]

    @cached_property
    def statuses(self) -> Phrases:
        """The words that say that something was not, or could not be, examined."""
        return self._only("STATUS")

    @cached_property
    def marks(self) -> Phrases:
        """Sides, modes and what may follow them before a reason."""
        return self._only("SIDE", "MODE", "AND", "NOTE", "EXAMINER", "REPEAT", "TOGETHER", "STATUS")

    def _only(self, *names: str) -> Phrases:
        phrases = Phrases(WORDS.name)
        for name in names:
            _add_general(phrases, self.general, name)
        return phrases

    @lru_cache(maxsize=512)  # noqa: B019 - one Words a region, kept for good
    def of(self, item: str) -> Phrases:
        """What may be said of one item."""
        entry = self.protocol.by_id[item]
        phrases = Phrases(f"{WORDS.name} ({item})")
        for name in _names_for(entry, bool(self.attached.get(item))):
            _add_general(phrases, self.general, name)
        for word, other in self.attached.get(item, {}).items():
            phrases.add(word, Meaning("ATTACHED", other))
        # The item's own words come first: "normal" of a pulse is a pulse, not a range by eye.
        for option in own_words(entry):
            phrases.add(option, Meaning("OPTION", option), instead=True)
        return phrases

    def __hash__(self) -> int:
        return id(self)


def _add_general(
    phrases: Phrases, general: dict[str, dict[str, tuple[str, ...]]], name: str
) -> None:
    for value, ways in general[name].items():
        for way in ways:
            phrases.add(way, Meaning(name, value))


def _names_for(item: Item, attached: bool) -> tuple[str, ...]:
    names = [*ALWAYS, *(("MODE",) if item.modes else ()), *(("PAINLESS",) if attached else ())]
    for kind in item.kinds:
        names += BY_KIND[kind.kind]
        if kind.kind == "sign" and kind.grades == SEEN_OR_NOT:
            names.append("RESULT")
    return tuple(dict.fromkeys(names))


def own_words(item: Item) -> Iterator[str]:
    """The item's own grades, options and places, and the fixed words of its kinds."""
    for kind in item.kinds:
        yield from getattr(kind, "grades", ())
        yield from getattr(kind, "options", ())
        yield from getattr(kind, "places", ())
        yield from FIXED.get(kind.kind, ())


@lru_cache(maxsize=8)
def load_words(region: str) -> Words:
    """The words of a region; UserError if a phrase is ambiguous or names nothing."""
    return words_for(load_protocol(region), read_yaml(region_folder(region) / FILE))


def words_for(protocol: Protocol, data: dict[str, Any]) -> Words:
    """The words of a protocol from the content of its `line_words.yaml`."""
    general = {
        name: {value: tuple(ways) for value, ways in values.items()}
        for name, values in read_yaml(WORDS).items()
    }
    subjects = Phrases(FILE)
    for name in protocol.by_id:
        subjects.add(name.replace("_", " "), Subject(name))
    for phrase, subject in _listed(protocol, data):
        subjects.add(phrase, subject)
    names = {item: ways[0] for item, ways in data["names"].items()}
    words = Words(protocol, general, subjects, names, data.get("attached", {}))
    _refuse_clashes(words)
    return words


def _listed(protocol: Protocol, data: dict[str, Any]) -> Iterator[tuple[str, Subject]]:
    """Every phrase of the region's file with the item it names."""
    for item, ways in data["names"].items():
        yield from ((way, Subject(_known(item, protocol))) for way in ways)
    for group in data.get("spoken_of", ()):
        for item, ways in group["names"].items():
            for word, meaning in group["words"].items():
                implied = Meaning(*meaning) if meaning else None
                subject = Subject(_known(item, protocol), implied)
                for way in ways:
                    yield f"{word} {way}", subject
                    yield f"{way} {word}", subject


def _known(item: str, protocol: Protocol) -> str:
    if item not in protocol.by_id:
        raise UserError(f"{FILE}: {item}", item, "an item of the protocol")
    return item


def _refuse_clashes(words: Words) -> None:
    """UserError where an item's words clash, or an abbreviation is also a side, mode or status."""
    marks = words.marks.meanings
    if clash := sorted(set(words.subjects.meanings) & set(marks)):
        raise UserError(FILE, clash[0], "a name that is no side, mode or status")
    for item, others in words.attached.items():
        for other in (item, *others.values()):
            _known(other, words.protocol)
    for item in words.protocol.by_id:
        words.of(item)
