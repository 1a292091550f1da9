"""A phrase that sums several items up ("full ROM", "NVI"): it is asked what was examined.

A summary never becomes findings by itself: what was not examined must not turn normal.
"""

from __future__ import annotations

from itertools import product

from sidewise.kinds import kind_of
from sidewise.protocol import Item
from sidewise.record.line.heads import Head
from sidewise.record.line.result import OfferedMeaning, Question, Span, Unreadable
from sidewise.record.line.subjects import Summary
from sidewise.record.line.words import LineWords
from sidewise.record.model import Finding

SIDES = {"right": ("right",), "left": ("left",), "both sides": ("right", "left")}


def read_summary(
    sentence: Span, head: Head, summary: Summary, words: LineWords, leading: tuple[str, ...]
) -> tuple[Question, int]:
    """The question that a summary becomes, and where it ends.

    Raises Unreadable if anything but sides, a mode and what it needs is said with it.
    """
    if len(head.names) > 1:
        raise Unreadable("a summary stands alone")
    said = _said(sentence, head, words)
    if summary.says and summary.says not in said:
        raise Unreadable("nothing is said of what was found")
    sides = said.get("SIDE", list(leading))
    asked_sides = {"": _sides(sides)} if sides else SIDES
    text = sentence.text[head.start :]
    span = Span(sentence.start + head.start, sentence.end, text)
    choices = tuple(
        _choice(label, where, mode, some, words)
        for some, (label, where), mode in product(
            summary.sets, asked_sides.items(), said.get("MODE") or _modes(summary, words)
        )
    )
    question = Question(span, "which of these were examined, and normal?", choices)
    return question, len(sentence.text)


def _said(sentence: Span, head: Head, words: LineWords) -> dict[str, list[str]]:
    """The names of the grammar said before and after the summary, with their values."""
    said: dict[str, list[str]] = {}
    name = head.names[0]
    for start, end in ((head.start, name.start), (name.end, len(sentence.text))):
        place = start
        while (place := _past(sentence.text, place, words)) < end:
            hit = words.summing.match(sentence.text, place, end)
            if hit is None:
                rest = sentence.text[place:end].split(maxsplit=1)[0]
                word = Span(sentence.start + place, sentence.start + place + len(rest), rest)
                raise Unreadable(f'not known here: "{rest}"', (word,))
            said.setdefault(hit.meaning.name, []).append(hit.meaning.value)
            place = hit.end
    if len(said.get("MODE", ())) > 1 or len(said.get("EYE", ())) > 1:
        raise Unreadable("two things said of one summary")
    return said


def _past(text: str, place: int, words: LineWords) -> int:
    found = words.fillers.match(text, place)
    return found.end() if found else place


def _sides(said: list[str]) -> tuple[str, ...]:
    if len(said) != len(set(said)) or ("both" in said and len(said) > 1):
        raise Unreadable("a side is said twice")
    return ("right", "left") if "both" in said else tuple(said)


def _modes(summary: Summary, words: LineWords) -> list[str]:
    moded = any(words.protocol.by_id[item].modes for some in summary.sets for item in some)
    return ["active", "passive"] if moded else [""]


def _choice(
    label: str, sides: tuple[str, ...], mode: str, items: tuple[str, ...], words: LineWords
) -> OfferedMeaning:
    there = [words.protocol.by_id[item] for item in items]
    findings = tuple(_normal(item, side, mode) for side in sides for item in there)
    named = ", ".join(item.label for item in there)
    return OfferedMeaning(": ".join(filter(None, (label, mode, named))), findings)


def _normal(item: Item, side: str, mode: str) -> Finding:
    """The item's own normal, as one touch on the page records it."""
    for limits in item.kinds:
        normal = kind_of(limits).bedside.normal(limits)
        if normal is not None:
            value = {"kind": limits.kind, **normal}
            return Finding.model_validate(
                {"item": item.id, "side": side, "mode": mode or None if item.modes else None,
                 "value": value}
            )  # fmt: skip
    raise Unreadable(f"{item.label} has no normal to be summed up")
