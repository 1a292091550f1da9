"""Reads one sentence of a line: entry after entry, and where a name may mean several items, each.

What cannot be read anywhere in a sentence spoils all of it: it might have changed the meaning.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from sidewise.kinds import kind_of
from sidewise.record.line.entry import Outcome, read_entry
from sidewise.record.line.heads import Head, Named, read_head
from sidewise.record.line.lexer import TypedEntry, lex_entry
from sidewise.record.line.result import (
    NotUnderstood,
    OfferedMeaning,
    Question,
    Span,
    Understood,
    Unreadable,
)
from sidewise.record.line.summary import read_summary
from sidewise.record.line.words import LineWords
from sidewise.record.line.writer import phrase_line
from sidewise.record.model import Finding


def read_sentence(sentence: Span, words: LineWords) -> list[Outcome]:
    """The outcomes of one sentence; one thing that cannot be read spoils it."""
    try:
        outcomes = list(_Sentence(sentence, words).read())
        _refuse_twice(outcomes)
    except Unreadable as problem:
        return [NotUnderstood(sentence, problem.words, problem.why)]
    return outcomes


@dataclass
class _Sentence:
    """A sentence, how far it was read, and the side it began with ("L: Neer +, Hawkins +")."""

    span: Span
    words: LineWords
    place: int = 0
    leading: tuple[str, ...] = ()
    sides: set[str] = field(default_factory=set)

    def read(self) -> Iterator[Outcome]:
        """Entry after entry to the end."""
        while self.place < len(self.span.text):
            head = read_head(self.span.text, self.place, self.words)
            if head is None:
                word = _first_word(self.span, self.place)
                raise Unreadable(f'no item is called "{word.text}"', (word,))
            first = self.place == 0
            ends = set()
            for named in head.names:
                outcomes, end = self._named(head, named, first)
                ends.add(end)
                yield from outcomes
            if len(ends) != 1:
                raise Unreadable("it is not clear where the part about one ends")
            self.place = ends.pop()

    def _named(self, head: Head, named: Named, first: bool) -> tuple[list[Outcome], int]:
        """What is said under one name: of the one item it names, or of each that it may name."""
        if named.subject.summary:
            question, end = read_summary(self.span, head, named.subject.summary, self.words,
                                         self.leading)  # fmt: skip
            return [question], end
        found: list[tuple[str, list[Outcome], int]] = []
        problems = []
        for item in named.subject.items:
            try:
                found.append((item, *self._item(head, named, item, first)))
            except Unreadable as problem:
                problems.append(problem)
        if not found:
            raise problems[0]
        if len(found) == 1 and found[0][0] not in named.subject.asked:
            return found[0][1], found[0][2]
        if len({(end, len(outcomes)) for _, outcomes, end in found}) != 1:
            raise Unreadable(f'"{self.span.text[named.start : named.end]}" may mean several things')
        merged: list[Outcome] = [
            self._asked(parts) for parts in zip(*(o for _, o, _ in found), strict=True)
        ]
        return merged, found[0][2]

    def _item(self, head: Head, named: Named, item: str, first: bool) -> tuple[list[Outcome], int]:
        entry, end = lex_entry(self.span, head, named, item, self.words)
        own = _said_sides(entry)
        if first and head.start < head.names[0].start:
            self.leading = _leading_sides(entry, self.span.start + head.names[0].start)
        self.sides |= own
        # A side that the sentence began with holds until another is said.
        leading = () if own or self.sides - set(self.leading) else self.leading
        return read_entry(entry, self.words.protocol, self.span.start + end, leading), end

    def _asked(self, parts: tuple[Outcome, ...]) -> Question:
        """One question of what several items make of the same words."""
        choices = []
        for part in parts:
            if isinstance(part, Understood):
                choices.append(OfferedMeaning(self._label(part.findings), part.findings))
            elif isinstance(part, Question):
                choices += [
                    OfferedMeaning(self._label(choice.findings), choice.findings)
                    for choice in part.choices
                ]
        return Question(parts[0].span, f'"{parts[0].span.text}": which is meant?', tuple(choices))

    def _label(self, findings: tuple[Finding, ...]) -> str:
        return "; ".join(phrase_line(finding, self.words) for finding in findings)


def _first_word(sentence: Span, place: int) -> Span:
    text = sentence.text[place:]
    start = place + len(text) - len(text.lstrip(" ,"))
    word = sentence.text[start:].split(maxsplit=1)[0] if sentence.text[start:].strip() else ""
    word = word.split(",")[0] or word
    begin = sentence.start + start
    return Span(begin, begin + len(word), word)


def _said_sides(entry: TypedEntry) -> set[str]:
    return {str(token.value) for token in entry.tokens if token.type == "SIDE"}


def _leading_sides(entry: TypedEntry, before: int) -> tuple[str, ...]:
    """The sides said before the first name."""
    said = [str(t.value) for t in entry.tokens if t.type == "SIDE" and (t.start_pos or 0) < before]
    return ("right", "left") if "both" in said else tuple(dict.fromkeys(said))


def _refuse_twice(outcomes: list[Outcome]) -> None:
    """Two things said of one place in one breath: one of them is meant of something else."""
    there: set[tuple[object, ...]] = set()
    for part in outcomes:
        if not isinstance(part, Understood):
            continue
        for finding in part.findings:
            keys = _keys(finding)
            if keys & there:
                raise Unreadable("two things said of one side")
            there |= keys


def _keys(finding: Finding) -> set[tuple[object, ...]]:
    """What a finding takes up: its slot; a status takes up every slot of its place."""
    place = (*finding.place, finding.repeat, finding.examiner)
    if finding.value is None:
        return {place}
    kind = kind_of(finding.value)
    return {(*place, kind.slot_of(finding.value))}
