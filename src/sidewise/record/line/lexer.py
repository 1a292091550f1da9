"""Cuts a text into sentences, and an entry of one into the names of the grammar."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from lark import Token

from sidewise.kinds import kind_of
from sidewise.record.line.heads import Head, Named, read_head
from sidewise.record.line.phrases import PhraseMeaning, Phrases
from sidewise.record.line.reasons import reads_like_a_finding
from sidewise.record.line.result import Span, Unreadable
from sidewise.record.line.words import LineWords

QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"')
# A comma between two digits with no space is a decimal comma; more than one digit after it may be
# a second number, and is refused.
NUMBER = re.compile(r"-?\d+(?:\.\d+|,\d(?!\d))?(?:e[+-]?\d+)?", re.I | re.A)
GRADE = re.compile(r"[0-5][+-](?![\d.])(?:/5)?|[0-5]/5(?!\d)", re.A)
OUT_OF_NINE = re.compile(r"(\d)/9(?!\d)", re.A)
RANGE = re.compile(rf"({NUMBER.pattern})(?:\s*[-–]\s*|\s+to\s+)({NUMBER.pattern})", re.I | re.A)
TWO_SIDES = re.compile(
    rf"(r|l|right|left)\s*/\s*(l|r|left|right)\s+({NUMBER.pattern})\s*/\s*({NUMBER.pattern})"
    r"(?![\d/])",
    re.I | re.A,
)
STOP = re.compile(r"[;\n\r]|\.(?=\s|$)")
"""What ends a sentence: a semicolon, the end of the line, a full stop with a space after it."""
PLUS = re.compile(r"(?<![\w+/)])\+(?=[\s,;]|$)")
DASH = re.compile(r"[-–−](?=[\s,;]|$)")
GAP = re.compile(r"\s*")
WORD = re.compile(r"[^\s,]+")


@dataclass
class TypedEntry:
    """One entry of a sentence: of which item, its start in the text, its tokens, and what its
    name says besides."""

    span: Span
    item: str
    start: int
    tokens: list[Token] = field(default_factory=list)
    implied: PhraseMeaning | None = None

    def cut(self, start: int, end: int) -> Span:
        """A part of the sentence, with its place in the whole text."""
        begin = self.span.start
        return Span(start, end, self.span.text[start - begin : end - begin])


def split_sentences(text: str) -> Iterator[Span]:
    """The parts between semicolons, full stops and ends of lines, without the space around them."""
    place = 0
    while place < len(text):
        end = _sentence_end(text, place)
        piece = text[place:end]
        if piece.strip():
            start = place + len(piece) - len(piece.lstrip())
            yield Span(start, start + len(piece.strip()), piece.strip())
        place = end + 1


def _sentence_end(text: str, place: int) -> int:
    """Where it ends; a mark inside quotes ends nothing, an open quote ends with the line."""
    while place < len(text) and not STOP.match(text, place):
        quoted = QUOTED.match(text, place) if text[place] == '"' else None
        place = quoted.end() if quoted else place + 1
    return place


def lex_entry(
    sentence: Span, head: Head, named: Named, item: str, words: LineWords
) -> tuple[TypedEntry, int]:
    """The tokens of the entry with this head, read of one item, and where it ends.

    Raises Unreadable with every word that is not known.
    """
    lexer = _Lexer(sentence, head.start, named, item, words)
    return lexer.entry, lexer.run(head)


class _Lexer:
    """Walks one entry from left to right."""

    def __init__(
        self, sentence: Span, head_start: int, named: Named, item: str, words: LineWords
    ) -> None:
        start = sentence.start + head_start
        self.entry = TypedEntry(sentence, item, start, implied=named.subject.implied)
        self.named = named
        self.words = words
        self.phrases = words.of(item)
        limits = words.protocol.by_id[item].kinds
        self.graded = any(kind_of(some).line.graded for some in limits)
        self.text = sentence.text
        self.place = 0
        self.end = len(self.text)
        self.unknown: list[Span] = []

    def run(self, head: Head) -> int:
        """What stands before the name, the name, then the statement about it; its end."""
        self.place = head.start
        before = self._before(self.named.start if head.names[0] is self.named else
                              head.names[0].start)  # fmt: skip
        self.place = self.named.end
        self._put("SUBJECT", self.entry.item, self.named.start)
        self.place = head.end
        self._skip(":")
        tokens = self.entry.tokens
        if any(token.type == "STATUS" for token in before):
            tokens[:0] = [token for token in before if token.type == "STATUS"]
            tokens += [token for token in before if token.type != "STATUS"]
            self._marks_and_reason()
        else:
            tokens += before
            self._rest()
            self._refuse_two_leads(before)
        self._refuse_half_denied()
        if self.unknown:
            said = ", ".join(f'"{word.text}"' for word in self.unknown)
            raise Unreadable(f"not known here: {said}", tuple(self.unknown))
        return self.place

    def _before(self, end: int) -> list[Token]:
        """The tokens before the name; a "no" right before it denies what it names."""
        self.end = end
        while self._more():
            if not self._phrase(self.phrases):
                # The head was chosen for an item of which all this may be said; not this one.
                self.unknown.append(self._word())
        self.end = len(self.text)
        before, self.entry.tokens = self.entry.tokens, []
        if before and before[-1].type == "NO":
            last = before.pop()
            before.append(Token("DENIED", "denied", start_pos=last.start_pos, end_pos=last.end_pos))
        return before

    def _refuse_two_leads(self, before: list[Token]) -> None:
        # "R Neer L pos": which of the two is meant, or whether both, is not said.
        after = self.entry.tokens[1 + len(before) :]
        leads = any(token.type == "SIDE" for token in before)
        if leads and after and after[0].type == "SIDE":
            raise Unreadable("a side is said before and after the name")

    def _refuse_half_denied(self) -> None:
        """ "no pain and weakness", "no pain weakness": is the second denied too?"""
        types = [token.type for token in self.entry.tokens]
        for place, name in enumerate(types[:-1]):
            if name != "NO" or types[place + 1] not in ("ASPECT", "LAG"):
                continue
            rest = types[place + 2 : place + 4]
            if rest[:1] == ["ASPECT"] or rest == ["AND", "ASPECT"]:
                raise Unreadable('say "no" of each, or "or" between them')

    def _rest(self) -> None:
        while self._more():
            if self._comma():
                if self._opens_entry():
                    self._drop_last("COMMA")
                    return
                continue
            if self._string() or self._both_sides() or self._figure(longer=True):
                continue
            if name := self._phrase(self.phrases):
                if name == "STATUS":
                    self._status()
                continue
            if self._figure(longer=False) or self._or() or self._dash() or self._in_brackets():
                continue
            if self._stands_alone() and read_head(self.text, self.place, self.words):
                self._drop_last("AND")
                return
            self.unknown.append(self._word())

    def _drop_last(self, name: str) -> None:
        if self.entry.tokens[-1].type == name:
            self.entry.tokens.pop()

    def _opens_entry(self) -> bool:
        """Whether a new entry begins after a comma: what follows is not all known of this item."""
        found = re.compile(r'[^,"]*').match(self.text, self.place)
        end = found.end() if found else self.place
        return not self._knows(self.place, end) and (
            read_head(self.text, self.place, self.words) is not None
        )

    def _knows(self, place: int, end: int) -> bool:
        """Whether all of a stretch can be said of this item."""
        names: list[str] = []
        while (place := self._past_fillers(place)) < end:
            hit = self.phrases.match(self.text, place, end)
            if hit and hit.meaning.name == "STATUS":
                return True
            if hit and self._is_name(hit.meaning, place, hit.end, end, names):
                return False
            number = None if hit else NUMBER.match(self.text, place, end)
            if not hit and not number:
                return bool(DASH.match(self.text, place))
            names.append(hit.meaning.name if hit else "NUMBER")
            place = hit.end if hit else number.end() if number else end
        return True

    def _is_name(
        self, meaning: PhraseMeaning, start: int, end: int, stop: int, before: list[str]
    ) -> bool:
        """Whether what a manoeuvre may reproduce is here the name of one: "Neer +, apprehension +".

        It is if a result follows and none stands before. Raises Unreadable where it may be either.
        """
        subject = self.words.subjects.match(self.text, start, stop)
        if meaning.name != "ASPECT" or subject is None or "RESULT" in before:
            return False
        rest = self.text[end:stop].split()
        if not any(word in self.phrases or DASH.match(word) for word in rest):
            return False
        limits = self.words.protocol.by_id[self.entry.item].kinds
        own = {aspect for some in limits for aspect in getattr(some, "aspects", ())}
        same = self.entry.item in subject.meaning.items
        if meaning.value in own and "SIDE" in before and not same:
            word = self.entry.cut(*self._places(start, end))
            raise Unreadable(f'"{word.text}" may be a name or what was found', (word,))
        return True

    def _stands_alone(self) -> bool:
        """Whether what stands last cannot belong to what comes: no side, mode or "no"."""
        types = [token.type for token in self.entry.tokens]
        while types and types[-1] == "AND":
            types.pop()
        return bool(types) and types[-1] not in ("SIDE", "MODE", "NO", "COMMA", "SUBJECT")

    def _status(self) -> None:
        """What follows a status: its own marks, then its reason up to a comma or the next side."""
        said = self.entry.tokens
        clause = next((n for n in range(len(said) - 1, -1, -1) if said[n].type == "COMMA"), 0)
        sided = any(token.type == "SIDE" for token in said[clause:])
        marks = self.words.marks_beside if sided else self.words.marks
        self._skip(":")
        while self._more():
            if not self._phrase(marks) and not self._beside():
                break
        if not self._more() or self.text[self.place] == ",":
            return
        start = self.place
        quoted = QUOTED.match(self.text, start)
        end = quoted.end() if quoted else self._reason_end(start)
        self._take_reason(start, end, self.text[start:end].strip(" :-–"))
        if self._more() and sided and self.text[self.place] != ",":
            self._put("COMMA", "", self.place)

    def _beside(self) -> bool:
        """The number or text of what was said last beside a status."""
        last = self.entry.tokens[-1].type
        if last == "REPEAT":
            return self._figure(longer=False)
        return last in ("NOTE", "EXAMINER") and self._string()

    def _reason_end(self, start: int) -> int:
        for word in WORD.finditer(self.text, start):
            if self.words.sides.match(self.text, word.start(), len(self.text)):
                return word.start()
            if self.text[word.end() : word.end() + 1] == ",":
                return word.end()
        return len(self.text)

    def _take_reason(self, start: int, end: int, reason: str) -> None:
        self.place = end
        whole = self.entry.cut(*self._places(start, end))
        if reason.startswith('"') and QUOTED.fullmatch(reason):
            reason = _unquoted(reason, whole)
        elif '"' in reason or reads_like_a_finding(reason, self.phrases, self.words):
            raise Unreadable("a reason that may be a finding stands in quotes", (whole,))
        if reason.strip() or self.text[start:end].startswith('"'):
            self._put("REASON", reason, start)

    def _marks_and_reason(self) -> None:
        """After a status that stands before the name: sides, then the reason of the whole entry."""
        while self._more():
            if not self._comma() and not self._phrase(self.words.marks):
                if self._beside():
                    continue
                return self._reason()
        return None

    def _reason(self) -> None:
        while self._more() and self.text[self.place] in ":-–":
            self.place += 1
        self._gap()
        start, reason = self.place, self.text[self.place :]
        if not QUOTED.fullmatch(reason) and ("," in reason or '"' in reason):
            whole = self.entry.cut(*self._places(start, len(self.text)))
            raise Unreadable('a reason with a comma stands in quotes: "..."', (whole,))
        self._take_reason(start, len(self.text), reason)

    def _places(self, start: int, end: int) -> tuple[int, int]:
        return self.entry.span.start + start, self.entry.span.start + end

    def _gap(self) -> None:
        gap = GAP.match(self.text, self.place, self.end)
        self.place = gap.end() if gap else self.place

    def _past_fillers(self, place: int) -> int:
        found = self.words.fillers.match(self.text, place, self.end)
        return found.end() if found else place

    def _more(self) -> bool:
        """Whether anything is left but words that say nothing; they are passed over."""
        self._gap()
        while (there := self._past_fillers(self.place)) > self.place:
            # A word that says something here comes first: "to the rim" is a grade.
            if self.phrases.match(self.text, self.place, self.end):
                return True
            self.place = there
        return self.place < self.end

    def _put(self, name: str, value: str, start: int) -> None:
        begin = self.entry.span.start
        self.entry.tokens.append(
            Token(name, value, start_pos=begin + start, end_pos=begin + self.place)
        )

    def _skip(self, mark: str) -> None:
        self._gap()
        if self.text[self.place : self.place + 1] == mark:
            self.place += 1

    def _comma(self) -> bool:
        if self.text[self.place] != ",":
            return False
        self.place += 1
        self._put("COMMA", ",", self.place - 1)
        return True

    def _phrase(self, phrases: Phrases) -> str | None:
        if not self._more():
            return None
        start = self.place
        hit = phrases.match(self.text, start, self.end)
        if hit is None:
            return None
        self.place = hit.end
        self._put(hit.meaning.name, hit.meaning.value, start)
        name: str = hit.meaning.name
        return name

    def _or(self) -> bool:
        """ "no pain or weakness" denies both."""
        hit = re.compile(r"(?:or|nor)\b", re.I).match(self.text, self.place)
        types = [token.type for token in self.entry.tokens[-2:]]
        if hit is None or types != ["NO", "ASPECT"]:
            return False
        start, self.place = self.place, hit.end()
        self._put("NO", "no", start)
        return True

    def _dash(self) -> bool:
        """A dash is a result only beside a plus: alone it is often a blank."""
        hit = DASH.match(self.text, self.place)
        if hit is None or not PLUS.search(self.text) or not self._takes_result():
            return False
        start, self.place = self.place, hit.end()
        self._put("RESULT", "negative", start)
        return True

    def _takes_result(self) -> bool:
        return "negative" in self.phrases

    def _in_brackets(self) -> bool:
        """A side in brackets: "Neer pos (R)"."""
        if self.text[self.place] != "(":
            return False
        hit = self.words.sides.match(self.text, self.place + 1, len(self.text))
        if hit is None or self.text[hit.end : hit.end + 1] != ")":
            return False
        start, self.place = self.place, hit.end + 1
        self._put("SIDE", hit.meaning.value, start)
        return True

    def _both_sides(self) -> bool:
        """ "R/L 40/10": a number for each side, in the order of the sides."""
        found = None if self.graded else TWO_SIDES.match(self.text, self.place)
        if found is None:
            return False
        start, self.place = self.place, found.end()
        for side, number in ((1, 3), (2, 4)):
            word = self.words.sides.meanings[found.group(side).lower()].value
            self._put("SIDE", word, start)
            self._put("NUMBER", found.group(number), start)
            if side == 1:
                self._put("COMMA", "", start)
        return True

    def _string(self) -> bool:
        quoted = QUOTED.match(self.text, self.place)
        if quoted is None:
            return False
        start, self.place = self.place, quoted.end()
        span = self.entry.cut(*self._places(start, self.place))
        self._put("STRING", _unquoted(quoted.group(), span), start)
        return True

    def _figure(self, longer: bool) -> bool:
        """A range, a power grade or a count out of nine (`longer`), else a plain number."""
        start = self.place
        if not longer:
            found = NUMBER.match(self.text, start)
            return self._take("NUMBER", found.group(), found.end(), start) if found else False
        grade = GRADE.match(self.text, start) if self.graded else None
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
        if name != "GRADE" and re.compile(r",\d").match(self.text, end):
            word = self.entry.cut(*self._places(start, end + 2))
            raise Unreadable("a decimal comma or two numbers: put a space after a comma that parts",
                             (word,))  # fmt: skip
        return True

    def _word(self) -> Span:
        found = WORD.match(self.text, self.place, self.end)
        start = self.place
        self.place = found.end() if found else self.end
        return self.entry.cut(*self._places(start, self.place))


def _unquoted(quoted: str, span: Span) -> str:
    try:
        value: str = json.loads(quoted, strict=False)
    except ValueError:
        raise Unreadable("a backslash in quotes stands before a quote or another backslash",
                         (span,)) from None  # fmt: skip
    return value
