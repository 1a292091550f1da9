"""Reads one entry of one item: its findings where it is clear, questions where it is not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import product
from typing import Any

from lark import Token, Tree
from pydantic import ValidationError

from sidewise.errors import UserError, short_text
from sidewise.kinds.common.line import Meant, Options
from sidewise.protocol import Item, Protocol
from sidewise.record.check import check_finding
from sidewise.record.line.clauses import ClausePart, clause_parts, entry_tree, sides_and_mode
from sidewise.record.line.features import Features
from sidewise.record.line.lexer import TypedEntry
from sidewise.record.line.result import (
    NotUnderstood,
    OfferedMeaning,
    Question,
    Span,
    Understood,
    Unreadable,
)
from sidewise.record.line.values import values_of
from sidewise.record.model import Finding

Outcome = Understood | NotUnderstood | Question


def read_entry(
    entry: TypedEntry, protocol: Protocol, end: int, sides: tuple[str, ...]
) -> list[Outcome]:
    """What one entry says, up to `end` in the text; `sides` hold where it names none.

    Raises Unreadable if any part of it cannot be read.
    """
    parsed = entry_tree(entry)
    reader = _Reader(entry, protocol, end)
    if parsed.data == "not_done":
        return list(reader.not_done(parsed, sides))
    return list(reader.done(parsed, sides))


class _Reader:
    """Makes the findings of one entry."""

    def __init__(self, entry: TypedEntry, protocol: Protocol, end: int) -> None:
        self.entry = entry
        self.protocol = protocol
        self.item = protocol.by_id[entry.item]
        self.end = end

    def not_done(self, parsed: Tree[Token], sides: tuple[str, ...]) -> Iterator[Outcome]:
        """What was not, could not or must not be examined, said before the name."""
        nodes = [n for n in parsed.children if isinstance(n, Tree) and n.data == "mark"]
        part = sides_and_mode(nodes)
        part.sides = part.sides or sides
        features = Features()
        for node in parsed.children:
            if isinstance(node, Tree) and node.data == "extra":
                features.take(node)
        tokens = {t.type: str(t.value) for t in parsed.children if isinstance(t, Token)}
        extras = features.extras()
        if features.said:
            raise Unreadable("only a reason can be given for what was not examined")
        yield self._not_examined(
            part, tokens["STATUS"], tokens.get("REASON"), extras, self._whole()
        )

    def _not_examined(
        self, part: ClausePart, status: str, reason: str | None, extras: dict[str, Any], span: Span
    ) -> Outcome:
        more = {"status": status, **extras}
        if reason is not None:
            more["reason"] = reason
        elif status != "not examined":
            raise Unreadable(f"{status}: a reason is needed")
        return self._outcome(self.item, part, None, more, span)

    def done(self, parsed: Tree[Token], sides: tuple[str, ...]) -> Iterator[Outcome]:
        """What was found: clause by clause, the subject holding for all of them."""
        clauses = [n for n in parsed.children if isinstance(n, Tree)]
        general = _general_mode(self.entry)
        for span, there in self._spans(_joined_clauses(clauses)):
            for part in there:
                sides = part.sides = part.sides or sides
                part.mode = part.mode or general
                yield from self._part(part, span, named=len(there) > 1)

    def _whole(self) -> Span:
        text = self.entry.cut(self.entry.start, self.end).text
        return self.entry.cut(self.entry.start, self.entry.start + len(text.rstrip(" \t,")))

    def _spans(
        self, clauses: list[tuple[int, list[ClausePart]]]
    ) -> Iterator[tuple[Span, list[ClausePart]]]:
        """Each clause with its part of the text; together they cover the entry."""
        begins = [self.entry.start, *(start for start, _ in clauses[1:])]
        for begin, end, (_, there) in zip(begins, [*begins[1:], self.end], clauses, strict=True):
            text = self.entry.cut(begin, end).text
            yield self.entry.cut(begin, begin + len(text.rstrip(" \t,"))), there

    def _part(self, part: ClausePart, span: Span, named: bool = False) -> Iterator[Outcome]:
        """What one part says; `named` where its clause has others, so that a question names it."""
        features = Features()
        if self.entry.implied:
            features.put(self.entry.implied.name, self.entry.implied.value)
        for node in part.values:
            features.take(node)
        extras = features.extras()
        _refuse_unclear_comma(part)
        if status := features.said.pop("STATUS", None):
            reason = features.said.pop("REASON", None)
            # The entry itself may say a thing ("not tender"), which a status cannot be said of.
            if features.said or features.attached:
                raise Unreadable("only a reason can be given for what was not examined")
            yield self._not_examined(part, status, reason, extras, span)
            return
        if features.said or not features.attached:
            options = self._options(self.item, features.said)
            yield self._outcome(self.item, part, options, extras, span, named)
        for other, said in features.attached:
            item = self.protocol.by_id[other]
            # Only the sides: an attached item has no mode of its own.
            yield self._outcome(
                item, ClausePart(sides=part.sides), self._options(item, said), extras, span
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
        self,
        item: Item,
        part: ClausePart,
        options: Options | None,
        more: dict[str, Any],
        span: Span,
        named: bool = False,
    ) -> Outcome:
        """One part of the line: its findings if all is said, else what has to be asked."""
        sides, side_words = _sides(item, part)
        modes = _modes(item, part)
        meant = options.meant if options else (None,)
        ask = _asked(sides, modes, options)
        pairs = list(zip(sides, side_words, strict=True))
        choices = [
            OfferedMeaning(
                _label(word, mode if len(modes) > 1 else None, value),
                self._findings(item, side, mode, value, more),
            )
            for (side, word), mode, value in product(pairs, modes, meant)
        ]
        if not ask:
            return Understood(span, choices[0].findings)
        about = f"{item.label}, {' and '.join(part.sides)}" if named and part.sides else item.label
        return Question(span, f"{about}: {', '.join(ask)}?", tuple(choices))

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


def _joined_clauses(clauses: list[Tree[Token]]) -> list[tuple[int, list[ClausePart]]]:
    """The parts of each clause with its start; one without side or mode says more of the last."""
    found: list[tuple[int, list[ClausePart]]] = []
    for clause in clauses:
        there = clause_parts(clause)
        last = found[-1][1][-1] if found else None
        if last and (not there[0].marked or _adds_only(last, there[0])):
            last.values += there[0].values
            last.sides = last.sides or there[0].sides
        else:
            found.append((_first_place(clause), there))
    return found


def _adds_only(last: ClausePart, part: ClausePart) -> bool:
    """Whether it says the side of what stands before, and how it felt: "ER passive 52, firm L"."""
    if last.sides or part.mode or not part.values:
        return False
    names = {str(node.data) for node in part.values}
    words = {node.children[-1].type for node in part.values if node.data == "word"}
    return names <= {"aspect", "word"} and words <= {"FEEL", "INSTRUMENT", "FAMILIAR"}


def _first_place(clause: Tree[Token]) -> int:
    tokens = clause.scan_values(lambda value: isinstance(value, Token))
    return min(token.start_pos or 0 for token in tokens)


def _refuse_unclear_comma(part: ClausePart) -> None:
    """With two sides "40,5" may be a number with a decimal comma, or one for each side."""
    tokens = [
        token
        for node in part.values
        for token in node.scan_values(lambda value: isinstance(value, Token))
    ]
    if len(part.sides) > 1 and any(t.type in ("NUMBER", "RANGE") and "," in t for t in tokens):
        raise Unreadable("one number with a decimal comma, or one for each side?")


def _asked(
    sides: list[tuple[str, ...]], modes: tuple[str | None, ...], options: Options | None
) -> list[str]:
    """What was not said and has to be asked."""
    ask = ["which side"] if len(sides) > 1 else []
    if len(modes) > 1:
        ask.append(" or ".join(str(mode) for mode in modes))
    return [*ask, options.ask] if options and options.ask else ask


def _general_mode(entry: TypedEntry) -> str | None:
    """A mode said once, right after the name, holds for the entry; any other for its own part."""
    said = [token for token in entry.tokens if token.type == "MODE"]
    first = next((t for t in entry.tokens if t.type not in ("STATUS", "SUBJECT")), None)
    return str(first.value) if first and said == [first] and said[0] is first else None


def _sides(item: Item, part: ClausePart) -> tuple[list[tuple[str, ...]], list[str]]:
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


def _modes(item: Item, part: ClausePart) -> tuple[str | None, ...]:
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
    return f"{first['loc'][-1]}: got {short_text(first['input'])}. {first['msg']}"


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
