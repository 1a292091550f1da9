"""Holds an entry's tokens against the grammar, and pairs sides and modes with what was found."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from lark import Lark, Token, Tree, UnexpectedInput
from lark.lexer import Lexer

from sidewise.record.line.lexer import TypedEntry
from sidewise.record.line.result import Unreadable

GRAMMAR = Path(__file__).with_name("grammar.lark")


class _Given(Lexer):  # type: ignore[misc]
    """The tokens are cut already, by the region's own words."""

    def __init__(self, _conf: Any) -> None:
        pass

    def lex(self, data: Any) -> Iterator[Token]:
        yield from data


@lru_cache(maxsize=1)
def _parser() -> Lark:
    return Lark(GRAMMAR.read_text(encoding="utf-8"), parser="lalr", lexer=_Given,
                propagate_positions=True)  # fmt: skip


def entry_tree(entry: TypedEntry) -> Tree[Token]:
    """The entry's tree. Raises Unreadable at the word where it no longer fits the grammar."""
    try:
        parsed: Tree[Token] = _parser().parse(entry.tokens)
    except UnexpectedInput as error:
        token = getattr(error, "token", None)
        if token is None or token.type == "$END":
            raise Unreadable("something is missing at the end") from None
        word = entry.cut(token.start_pos, token.end_pos)
        raise Unreadable(f'"{word.text}" does not fit here', (word,)) from None
    inner = parsed.children[0]
    assert isinstance(inner, Tree), "start holds one rule"
    return inner


@dataclass
class ClausePart:
    """One reading: the sides and mode it is for, and the trees of what was found."""

    sides: tuple[str, ...] = ()
    mode: str | None = None
    values: list[Any] = field(default_factory=list)
    start: int = 0
    end: int = 0

    @property
    def marked(self) -> bool:
        """Whether it says for which side or in which mode."""
        return bool(self.sides) or self.mode is not None


def sides_and_mode(nodes: list[Any]) -> ClausePart:
    """Sides and mode from a run of marks; Unreadable if one is said twice."""
    part = ClausePart()
    found = [node.children[0] for node in nodes if isinstance(node, Tree)]
    for token in found:
        if token.type == "SIDE":
            part.sides = _joined(part.sides, token.value)
        elif token.type == "MODE":
            if part.mode is not None:
                raise Unreadable("two modes at once")
            part.mode = token.value
    return part


def _joined(there: tuple[str, ...], word: str) -> tuple[str, ...]:
    sides = ("right", "left") if word == "both" else (word,)
    if set(there) & set(sides):
        raise Unreadable("a side is said twice")
    return (*there, *sides)


def _is_mark(node: Any) -> bool:
    return isinstance(node, Tree) and node.data == "mark"


def clause_parts(clause: Tree[Token]) -> list[ClausePart]:
    """The readings of one clause: blocks of marks paired with blocks of what was found."""
    blocks = _blocks(clause.children)
    kinds = [is_marks for is_marks, _ in blocks]
    if not _repeated(blocks):
        part = sides_and_mode([node for is_marks, nodes in blocks if is_marks for node in nodes])
        part.values = [node for is_marks, nodes in blocks if not is_marks for node in nodes]
        return [part]
    if len(blocks) % 2 and _is_mode_behind_all(blocks):
        # "ER R 40 L 10 passive": of the last alone, or of both? It is asked of each.
        blocks = blocks[:-1]
    if len(blocks) % 2:
        raise Unreadable("it is not clear what belongs to which side or mode")
    return [_pair(blocks[n], blocks[n + 1], kinds[0]) for n in range(0, len(blocks), 2)]


def _repeated(blocks: list[tuple[bool, list[Any]]]) -> bool:
    """Whether more than one block of marks speaks of sides, or of modes."""
    for name in ("SIDE", "MODE"):
        speaking = [
            any(node.children[0].type == name for node in there)
            for is_marks, there in blocks
            if is_marks
        ]
        if sum(speaking) > 1:
            return True
    return False


def _is_mode_behind_all(blocks: list[tuple[bool, list[Any]]]) -> bool:
    """Whether what is left over is the only mode of the clause, behind all that was found."""
    (first_marks, _), (is_marks, last) = blocks[0], blocks[-1]
    modes = [node for marks, nodes in blocks if marks for node in nodes if _is_mode(node)]
    return first_marks and is_marks and len(last) == 1 and modes == last


def _is_mode(node: Any) -> bool:
    return isinstance(node, Tree) and node.children[0].type == "MODE"


def _pair(
    first: tuple[bool, list[Any]], second: tuple[bool, list[Any]], marks_first: bool
) -> ClausePart:
    said, found = (first, second) if marks_first else (second, first)
    part = sides_and_mode(said[1])
    part.values = found[1]
    return part


def _blocks(nodes: list[Any]) -> list[tuple[bool, list[Any]]]:
    blocks: list[tuple[bool, list[Any]]] = []
    for node in nodes:
        if blocks and blocks[-1][0] == _is_mark(node):
            blocks[-1][1].append(node)
        else:
            blocks.append((_is_mark(node), [node]))
    return blocks
