"""Reads a line: findings where it is clear, questions where it is not, and what was not read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from typing import Any

from lark import Token, Tree
from pydantic import ValidationError

from sidewise.errors import UserError, shown
from sidewise.protocol import Item, Protocol
from sidewise.record.check import check_finding
from sidewise.record.line.features import Features
from sidewise.record.line.lexer import Entry, entries, lex
from sidewise.record.line.parse import Part, marks, parts, tree
from sidewise.record.line.result import (
    Choice,
    LineReading,
    NotUnderstood,
    Question,
    Span,
    Understood,
    Unreadable,
)
from sidewise.record.line.values import Meant, Options, values_of
from sidewise.record.line.words import Words, load_words
from sidewise.record.model import Finding

LONGEST = 20_000
"""Characters in one text; dictation of a whole examination is well under this."""

Outcome = Understood | NotUnderstood | Question


def read_line(text: str, protocol: Protocol) -> LineReading:
    """What a typed or dictated line says, in the words of the region's protocol.

    Entries are parted by semicolons and ends of lines. An entry with a word that is not known
    yields nothing; a side or mode that was not said is asked for. Raises UserError if the text is
    longer than `LONGEST` characters.
    """
    if len(text) > LONGEST:
        raise UserError("line", f"{len(text)} characters", f"at most {LONGEST}",
                        "Read it in several parts.")  # fmt: skip
    words = load_words(protocol.region)
    outcomes = [outcome for span in entries(text) for outcome in _entry(span, words)]
    return LineReading(
        text=text,
        understood=tuple(o for o in outcomes if isinstance(o, Understood)),
        not_understood=tuple(o for o in outcomes if isinstance(o, NotUnderstood)),
        questions=tuple(o for o in outcomes if isinstance(o, Question)),
    )


def _entry(span: Span, words: Words) -> list[Outcome]:
    """The outcomes of one entry; one thing that cannot be read spoils the entry."""
    try:
        entry = lex(span, words)
        parsed = tree(entry)
        reader = _Reader(entry, words.protocol)
        return list(reader.not_done(parsed) if parsed.data == "not_done" else reader.done(parsed))
    except Unreadable as problem:
        return [NotUnderstood(span, problem.words, problem.why)]


class _Reader:
    """Makes the findings of one entry."""

    def __init__(self, entry: Entry, protocol: Protocol) -> None:
        self.entry = entry
        self.protocol = protocol
        subject = next(token for token in entry.tokens if token.type == "SUBJECT")
        self.item = protocol.by_id[str(subject.value)]
        self.subject_start: int = subject.start_pos or 0

    def not_done(self, parsed: Tree[Token]) -> Iterator[Outcome]:
        """What was not, could not or must not be examined."""
        nodes = [n for n in parsed.children if isinstance(n, Tree) and n.data == "mark"]
        part = marks(nodes)
        features = Features()
        for node in parsed.children:
            if isinstance(node, Tree) and node.data == "extra":
                features.take(node)
        tokens = {t.type: str(t.value) for t in parsed.children if isinstance(t, Token)}
        more = {"status": tokens["STATUS"], **features.extras()}
        if features.said:
            raise Unreadable("only a reason can be given for what was not examined")
        if "REASON" in tokens:
            more["reason"] = tokens["REASON"]
        elif tokens["STATUS"] != "not examined":
            raise Unreadable(f"{tokens['STATUS']}: a reason is needed")
        yield self._outcome(self.item, part, None, more, self.entry.span)

    def done(self, parsed: Tree[Token]) -> Iterator[Outcome]:
        """What was found: clause by clause, the subject holding for all of them."""
        clauses = [n for n in parsed.children if isinstance(n, Tree)]
        both = [(clause, parts(clause)) for clause in clauses]
        general = _general_mode(self.entry)
        for place, (clause, there) in enumerate(both):
            span = self._span(clause, first=place == 0)
            sides: tuple[str, ...] = ()
            for part in there:
                sides = part.sides = part.sides or sides
                part.mode = part.mode or general
                yield from self._part(part, span)

    def _span(self, clause: Tree[Token], first: bool) -> Span:
        tokens = list(clause.scan_values(lambda value: isinstance(value, Token)))
        starts = [t.start_pos or 0 for t in tokens]
        start = self.subject_start if first else min(starts)
        return self.entry.cut(start, max(t.end_pos or 0 for t in tokens))

    def _part(self, part: Part, span: Span) -> Iterator[Outcome]:
        features = Features()
        if self.entry.implied:
            features.put(self.entry.implied.name, self.entry.implied.value)
        for node in part.values:
            features.take(node)
        extras = features.extras()
        if features.said or not features.attached:
            options = self._options(self.item, features.said)
            yield self._outcome(self.item, part, options, extras, span)
        for other, said in features.attached:
            item = self.protocol.by_id[other]
            # Only the sides: an attached item has no mode of its own.
            yield self._outcome(
                item, Part(sides=part.sides), self._options(item, said), extras, span
            )

    def _options(self, item: Item, said: dict[str, Any]) -> Options:
        if not said:
            raise Unreadable(f"{item.label}: nothing is said of what was found")
        found = values_of(item, said)
        if not found:
            raise Unreadable(f"what was found is not clear for {item.label}")
        if len(found) == 1:
            return found[0]
        meant = [replace(m, label=m.label or m.value["kind"]) for o in found for m in o.meant]
        return Options(tuple(meant), "which kind of value")

    def _outcome(
        self, item: Item, part: Part, options: Options | None, more: dict[str, Any], span: Span
    ) -> Outcome:
        """One part of the line: its findings if all is said, else what has to be asked."""
        sides, side_words = _sides(item, part)
        modes = _modes(item, part)
        meant = options.meant if options else (None,)
        ask = _asked(sides, modes, options)
        pairs = list(zip(sides, side_words, strict=True))
        choices = [
            Choice(
                _label(word, mode if len(modes) > 1 else None, value),
                self._findings(item, side, mode, value, more),
            )
            for (side, word), mode, value in product(pairs, modes, meant)
        ]
        if not ask:
            return Understood(span, choices[0].findings)
        return Question(span, f"{item.label}: {', '.join(ask)}?", tuple(choices))

    def _findings(
        self, item: Item, sides: tuple[str, ...], mode: str | None, meant: Meant | None,
        more: dict[str, Any],
    ) -> tuple[Finding, ...]:  # fmt: skip
        value = {"value": meant.value} if meant else {}
        made = []
        for side in sides:
            data = {"item": item.id, "side": side, "mode": mode, **more, **value}
            made.append(_checked(data, self.protocol))
        return tuple(made)


def _asked(
    sides: list[tuple[str, ...]], modes: tuple[str | None, ...], options: Options | None
) -> list[str]:
    """What was not said and has to be asked."""
    ask = ["which side"] if len(sides) > 1 else []
    if len(modes) > 1:
        ask.append(" or ".join(str(mode) for mode in modes))
    return [*ask, options.ask] if options and options.ask else ask


def _general_mode(entry: Entry) -> str | None:
    """A mode said once, right after the name, holds for the entry; any other for its own part."""
    said = [token for token in entry.tokens if token.type == "MODE"]
    first = next((t for t in entry.tokens if t.type not in ("STATUS", "SUBJECT")), None)
    return str(first.value) if first and said == [first] and said[0] is first else None


def _sides(item: Item, part: Part) -> tuple[list[tuple[str, ...]], list[str]]:
    """The sets of sides the part may mean, and the word for each; more than one has to be asked."""
    if not item.paired:
        if set(part.sides) - {"midline"}:
            raise Unreadable(f"{item.label} has no sides")
        return [("midline",)], [""]
    if "midline" in part.sides:
        raise Unreadable(f"{item.label} has a right and a left side")
    if part.sides:
        return [part.sides], [""]
    return [("right",), ("left",), ("right", "left")], ["right", "left", "both sides"]


def _modes(item: Item, part: Part) -> tuple[str | None, ...]:
    if not item.modes:
        if part.mode:
            raise Unreadable(f"{item.label} has no mode")
        return (None,)
    if part.mode and part.mode not in item.modes:
        raise Unreadable(f"{item.label} is {' or '.join(item.modes)}, not {part.mode}")
    return (part.mode,) if part.mode else item.modes


def _label(side: str, mode: str | None, meant: Meant | None) -> str:
    words = [side, mode or "", meant.label if meant else ""]
    return ", ".join(word for word in words if word)


def _first(error: ValidationError) -> str:
    """The first thing wrong: a rule of ours in its own words, or the field and what was got."""
    first = error.errors()[0]
    if first["type"] == "value_error":
        return str(first["msg"]).removeprefix("Value error, ")
    return f"{first['loc'][-1]}: got {shown(first['input'])}. {first['msg']}"


def _checked(data: dict[str, Any], protocol: Protocol) -> Finding:
    """The finding, held against the protocol; what it cannot be is said in one line."""
    try:
        finding = Finding.model_validate(data)
        check_finding(finding, protocol)
    except ValidationError as error:
        raise Unreadable(_first(error)) from None
    except UserError as error:
        raise Unreadable(error.message.splitlines()[0]) from None
    return finding
