"""What a phrase at the head of an entry may name: one item, one of several, or a sum of several."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from sidewise.errors import UserError
from sidewise.protocol import Protocol
from sidewise.record.line.phrases import PhraseMeaning, Phrases, comparable_phrase

FILE = "line_words.yaml"
JOINTS = ("", " over", " over the", " of", " of the")
"""Between "tender" and the place: "tender over the AC joint"."""


@dataclass(frozen=True, slots=True)
class Summary:
    """A phrase that sums up several items ("full ROM"): which of them it may mean is asked.

    `says` is a name of the grammar that has to be said with it; empty where the phrase says that
    all is normal by itself.
    """

    says: str
    sets: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Subject:
    """The items a phrase may name, and what the phrase says besides (light touch, not tender).

    What is said of several decides between them, else it is asked. Those in `asked` are never
    taken without a question. A summary names no item of its own.
    """

    items: tuple[str, ...]
    implied: PhraseMeaning | None = None
    asked: frozenset[str] = frozenset()
    summary: Summary | None = None


def known_item(item: str, protocol: Protocol) -> str:
    """The item if the protocol has it; UserError otherwise."""
    if item not in protocol.by_id:
        raise UserError(f"{FILE}: {item}", item, "an item of the protocol")
    return item


def subjects_of(protocol: Protocol, data: dict[str, Any]) -> Phrases:
    """Every phrase that may name something, from ids, the region's file and the page's labels."""
    subjects = Phrases(FILE, owned=True)
    for name in protocol.by_id:
        subjects.add(name.replace("_", " "), Subject((name,)))
    for phrase, subject in _listed(protocol, data):
        subjects.add(phrase, subject)
    for phrase, subject in _shared(protocol, data):
        _refuse_other(subjects, phrase, subject)
        subjects.add(phrase, subject, instead=True)
    for phrase, subject in _labels(protocol):
        if phrase not in subjects:
            subjects.add(phrase, subject)
    return subjects


def _listed(protocol: Protocol, data: dict[str, Any]) -> Iterator[tuple[str, Subject]]:
    """Every phrase of the region's file with the one item it names."""
    for item, ways in data["names"].items():
        yield from ((way, Subject((known_item(item, protocol),))) for way in ways)
    for group in data.get("spoken_of", ()):
        for item, ways in group["names"].items():
            for word, meaning in group["words"].items():
                implied = PhraseMeaning(*meaning) if meaning else None
                subject = Subject((known_item(item, protocol),), implied)
                for way in ways:
                    yield f"{way} {word}", subject
                    yield from ((f"{word}{joint} {way}", subject) for joint in JOINTS)


def _shared(protocol: Protocol, data: dict[str, Any]) -> Iterator[tuple[str, Subject]]:
    """Phrases that several items share, and phrases that sum several up."""
    for group in data.get("shared", ()):
        asked = tuple(group.get("asked", ()))
        items = tuple(known_item(item, protocol) for item in (*group.get("items", ()), *asked))
        yield from ((way, Subject(items, asked=frozenset(asked))) for way in group["names"])
    for group in data.get("summed_up", ()):
        sets = tuple(tuple(known_item(i, protocol) for i in some) for some in group["sets"])
        subject = Subject((), summary=Summary(group.get("says", ""), sets))
        yield from ((way, subject) for way in group["names"])


def _refuse_other(subjects: Phrases, phrase: str, subject: Subject) -> None:
    """UserError if the phrase names an item already that is not among those that share it."""
    there = subjects.meanings.get(comparable_phrase(phrase))
    if there and not set(there.items) <= set(subject.items):
        raise UserError(f"{FILE}: {phrase}", there.items, f"among {subject.items}")


def _labels(protocol: Protocol) -> Iterator[tuple[str, Subject]]:
    """The words of the page; where two items have one label it is asked."""
    named: dict[str, list[str]] = {}
    for item in protocol.items:
        label = re.sub(r"\s*\(.*?\)", "", item.label)
        # A colon would end the name.
        if re.fullmatch(r"[\w ,'’-]+", label):
            named.setdefault(label, []).append(item.id)
    for label, items in named.items():
        yield label, Subject(tuple(items), asked=frozenset(items if len(items) > 1 else ()))
