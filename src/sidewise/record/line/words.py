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
from sidewise.kinds import kind_of
from sidewise.knowledge.reading import read_yaml
from sidewise.knowledge.region import Region
from sidewise.protocol import Item, Protocol, protocol_of
from sidewise.record.line.phrases import PhraseMeaning, Phrases, filler_pattern
from sidewise.record.line.subjects import FILE, known_item, subjects_of

WORDS = Path(__file__).with_name("words.yaml")
ALWAYS = ("SIDE", "STATUS", "AND", "NO", "NOTE", "EXAMINER", "REPEAT", "TOGETHER")


@dataclass(frozen=True)
class LineWords:
    """Everything a line in one region may be made of."""

    protocol: Protocol
    general: dict[str, dict[str, tuple[str, ...]]]
    subjects: Phrases
    names: dict[str, str]
    attached: dict[str, dict[str, str]]
    fillers: re.Pattern[str]

    @cached_property
    def statuses(self) -> Phrases:
        """The words that say that something was not, or could not be, examined."""
        return self._only("STATUS")

    @cached_property
    def sides(self) -> Phrases:
        """The words for the sides."""
        return self._only("SIDE")

    @cached_property
    def summing(self) -> Phrases:
        """What may be said with a phrase that sums up several items."""
        return self._only("SIDE", "MODE", "AND", "EYE")

    @cached_property
    def marks(self) -> Phrases:
        """Sides, modes and what may follow them before a reason."""
        return self._only("SIDE", "MODE", "AND", "NOTE", "EXAMINER", "REPEAT", "TOGETHER", "STATUS")

    @cached_property
    def marks_beside(self) -> Phrases:
        """The same without sides, for a status whose side was said."""
        return self._only("MODE", "NOTE", "EXAMINER", "REPEAT", "TOGETHER")

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
            phrases.add(word, PhraseMeaning("ATTACHED", other))
        # The item's own words come first: "normal" of a pulse is a pulse, not a range by eye.
        for option in own_words(entry):
            phrases.add(option, PhraseMeaning("OPTION", option), instead=True)
        return phrases

    def __hash__(self) -> int:
        return id(self)


def _add_general(
    phrases: Phrases, general: dict[str, dict[str, tuple[str, ...]]], name: str
) -> None:
    for value, ways in general[name].items():
        for way in ways:
            phrases.add(way, PhraseMeaning(name, value))


def _names_for(item: Item, attached: bool) -> tuple[str, ...]:
    names = [*ALWAYS, *(("MODE",) if item.modes else ()), *(("PAINLESS",) if attached else ())]
    for limits in item.kinds:
        names += kind_of(limits).line.names(limits)
    return tuple(dict.fromkeys(names))


def own_words(item: Item) -> Iterator[str]:
    """The item's own grades, options and places, and the fixed words of its kinds."""
    for limits in item.kinds:
        yield from kind_of(limits).line.words(limits)


def line_words_of(region: Region) -> LineWords:
    """The words of a region; UserError if a phrase is ambiguous or names nothing.

    A region without short names knows its items by their full names alone.
    """
    return region.view(_words)


def _words(region: Region) -> LineWords:
    data = region.part("line_words") if region.has("line_words") else {"names": {}}
    return words_for(protocol_of(region), data)


@lru_cache(maxsize=1)
def _general() -> dict[str, dict[str, tuple[str, ...]]]:
    """The words that hold in every region, from the file beside this one."""
    return {
        name: {value: tuple(ways) for value, ways in values.items()}
        for name, values in read_yaml(WORDS).items()
    }


def words_for(protocol: Protocol, data: dict[str, Any]) -> LineWords:
    """The words of a protocol from the content of its `line_words.yaml`."""
    general = _with_region(protocol)
    if not isinstance(data, dict) or not isinstance(data.get("names"), dict):
        raise UserError(f"{FILE}: names", None, "short names by item")
    subjects = subjects_of(protocol, data)
    names = {item: ways[0] for item, ways in data["names"].items()}
    fillers = [*general["FILLER"]["filler"], *data.get("fillers", ())]
    words = LineWords(protocol, general, subjects, names, data.get("attached", {}),
                      filler_pattern(fillers))  # fmt: skip
    _refuse_clashes(words)
    return words


def _with_region(protocol: Protocol) -> dict[str, dict[str, tuple[str, ...]]]:
    """The general words, the region's views, and the aspects that are not among the general."""
    views: dict[str, tuple[str, ...]] = {view: (f"view {view}",) for view in protocol.views}
    general = _general()
    known = general["ASPECT"].keys() | general["LAG"].keys()
    own = {
        name: tuple(dict.fromkeys((name, word)))
        for name, word in protocol.vocabulary.aspects
        if name not in known
    }
    return {**general, "ASPECT": {**general["ASPECT"], **own}, "VIEW": views}


def _refuse_clashes(words: LineWords) -> None:
    """UserError where an item's words clash, or an abbreviation is also a side, mode or status."""
    marks = words.marks.meanings
    if clash := sorted(set(words.subjects.meanings) & set(marks)):
        raise UserError(FILE, clash[0], "a name that is no side, mode or status")
    for item, others in words.attached.items():
        for other in (item, *others.values()):
            known_item(other, words.protocol)
    for item in words.protocol.by_id:
        words.of(item)
