"""Cuts a text into entries, and an entry into the names of the grammar."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from lark import Token

from sidewise.record.line.result import Span, Unreadable
from sidewise.record.line.words import Meaning, Phrases, Subject, Words

QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"')
NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?", re.I | re.A)
GRADE = re.compile(r"[0-5][+-](?![\d.])(?:/5)?|[0-5]/5(?!\d)", re.A)
OUT_OF_NINE = re.compile(r"(\d)/9(?!\d)", re.A)
RANGE = re.compile(rf"({NUMBER.pattern})(?:\s*[-–]\s*|\s+to\s+)({NUMBER.pattern})", re.I | re.A)
STOP = re.compile(r"[;\n\r]|\.(?=\s|$)")
"""What ends an entry: a semicolon, the end of the line, a full stop with a space after it."""
GAP = re.compile(r"\s*")
WORD = re.compile(r"[^\s,]+")


@dataclass
class Entry:
    """One entry: where it stands, its tokens, and what its subject says besides."""

    span: Span
    tokens: list[Token] = field(default_factory=list)
    implied: Meaning | None = None

    def cut(self, start: int, end: int) -> Span:
        """A part of the entry, with its place in the whole text."""
        begin = self.span.start
        return Span(start, end, self.span.text[start - begin : end - begin])


def entries(text: str) -> Iterator[Span]:
    """The parts between semicolons, full stops and ends of lines, without the space around them."""
    place = 0
    while place < len(text):
        end = _entry_end(text, place)
        piece = text[place:end]
        if piece.strip():
            start = place + len(piece) - len(piece.lstrip())
            yield Span(start, start + len(piece.strip()), piece.strip())
        place = end + 1


def _entry_end(text: str, place: int) -> int:
    """Where the entry ends; a mark inside quotes ends nothing, an open quote ends with the line."""
    while place < len(text) and not STOP.match(text, place):
        quoted = QUOTED.match(text, place) if text[place] == '"' else None
        place = quoted.end() if quoted else place + 1
    return place


def lex(span: Span, words: Words) -> Entry:
    """The entry's tokens. Raises Unreadable with every word that is not known."""
    entry = Entry(span)
    lexer = _Lexer(entry, words)
    lexer.run()
    return entry


class _Lexer:
    """Walks one entry from left to right."""

    def __init__(self, entry: Entry, words: Words) -> None:
        self.entry = entry
        self.words = words
        self.text = entry.span.text
        self.place = 0
        self.unknown: list[Span] = []

    def run(self) -> None:
        """Status (if it stands first), subject, then what is said of it."""
        status = self._phrase(self.words.statuses)
        if status:
            self._skip(":")
        subject = self._subject()
        if status:
            self._marks_and_reason()
        else:
            self._rest(self.words.of(subject.item), subject)
        self.entry.tokens.sort(key=lambda token: token.type != "STATUS")
        if self.unknown:
            said = ", ".join(f'"{word.text}"' for word in self.unknown)
            raise Unreadable(f"not known here: {said}", tuple(self.unknown))

    def _subject(self) -> Subject:
        self._gap()
        start = self.place
        hit = self.words.subjects.match(self.text, start, len(self.text))
        if hit is None:
            word = self._word()
            raise Unreadable(f'no item is called "{word.text}"', (word,))
        self.place = hit.end
        self._put("SUBJECT", hit.meaning.item, start)
        self.entry.implied = hit.meaning.implied
        self._skip(":")
        subject: Subject = hit.meaning
        return subject

    def _rest(self, phrases: Phrases, subject: Subject) -> None:
        graded = self.words.protocol.by_id[subject.item].kind("mrc") is not None
        while self._more():
            if self._skip(",", "COMMA") or self._string() or self._figure(graded, longer=True):
                continue
            if status := self._phrase(phrases):
                if status == "STATUS":
                    return self._marks_and_reason()
                continue
            if not self._figure(graded, longer=False):
                self.unknown.append(self._word())
        return None

    def _marks_and_reason(self) -> None:
        while self._more():
            if not self._skip(",", "COMMA") and not self._phrase(self.words.marks):
                if self.entry.tokens[-1].type == "REPEAT" and self._figure(False, longer=False):
                    continue
                if self.entry.tokens[-1].type in ("NOTE", "EXAMINER") and self._string():
                    continue
                return self._reason()
        return None

    def _reason(self) -> None:
        while self._more() and self.text[self.place] in ":-–":
            self.place += 1
        self._gap()
        start, reason = self.place, self.text[self.place :]
        quoted = QUOTED.fullmatch(reason)
        if quoted:
            reason = _unquoted(quoted.group(), self.entry.cut(*self._places(start)))
        elif "," in reason or '"' in reason:
            whole = self.entry.cut(*self._places(start))
            raise Unreadable('a reason with a comma stands in quotes: "..."', (whole,))
        self.place = len(self.text)
        if quoted or reason.strip():
            self._put("REASON", reason, start)

    def _places(self, start: int) -> tuple[int, int]:
        return self.entry.span.start + start, self.entry.span.end

    def _gap(self) -> None:
        gap = GAP.match(self.text, self.place)
        self.place = gap.end() if gap else self.place

    def _more(self) -> bool:
        self._gap()
        return self.place < len(self.text)

    def _put(self, name: str, value: str, start: int) -> None:
        begin = self.entry.span.start
        self.entry.tokens.append(
            Token(name, value, start_pos=begin + start, end_pos=begin + self.place)
        )

    def _skip(self, mark: str, name: str = "") -> bool:
        if not self._more() or self.text[self.place] != mark:
            return False
        self.place += 1
        if name:
            self._put(name, mark, self.place - 1)
        return True

    def _phrase(self, phrases: Phrases) -> str | None:
        if not self._more():
            return None
        start = self.place
        hit = phrases.match(self.text, start, len(self.text))
        if hit is None:
            return None
        self.place = hit.end
        self._put(hit.meaning.name, hit.meaning.value, start)
        name: str = hit.meaning.name
        return name

    def _string(self) -> bool:
        quoted = QUOTED.match(self.text, self.place)
        if quoted is None:
            return False
        start, self.place = self.place, quoted.end()
        begin = self.entry.span.start
        span = self.entry.cut(begin + start, begin + self.place)
        self._put("STRING", _unquoted(quoted.group(), span), start)
        return True

    def _figure(self, graded: bool, longer: bool) -> bool:
        """A range, a power grade or a count out of nine (`longer`), else a plain number."""
        start = self.place
        if not longer:
            found = NUMBER.match(self.text, start)
            return self._take("NUMBER", found.group(), found.end(), start) if found else False
        grade = GRADE.match(self.text, start) if graded else None
        if grade:
            return self._take("GRADE", grade.group().removesuffix("/5"), grade.end(), start)
        if ranged := RANGE.match(self.text, start):
            value = f"{ranged.group(1)} {ranged.group(2)}"
            return self._take("RANGE", value, ranged.end(), start)
        nine = OUT_OF_NINE.match(self.text, start)
        return self._take("NUMBER", nine.group(1), nine.end(), start) if nine else False

    def _take(self, name: str, value: str, end: int, start: int) -> bool:
        self.place = end
        self._put(name, value, start)
        return True

    def _word(self) -> Span:
        found = WORD.match(self.text, self.place)
        start = self.place
        self.place = found.end() if found else len(self.text)
        begin = self.entry.span.start
        return self.entry.cut(begin + start, begin + self.place)


def _unquoted(quoted: str, span: Span) -> str:
    try:
        value: str = json.loads(quoted, strict=False)
    except ValueError:
        raise Unreadable("a backslash in quotes stands before a quote or another backslash",
                         (span,)) from None  # fmt: skip
    return value
