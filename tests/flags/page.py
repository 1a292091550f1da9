"""Writes docs/flags.md from the rules and the presentations: `python -m tests.flags.page`."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sidewise.ground.provenance import Provenance
from sidewise.reason.judging.flags import HOW_FAST, FlagRule, Threshold
from sidewise.reason.judging.rules import (
    AllOf,
    AnyOf,
    Ask,
    AtLeast,
    ContextIs,
    Is,
    Not,
    Rule,
    Unless,
)
from tests.flags.reading import Presentation, presentations
from tests.shoulder import BOOK, PROTOCOL

PAGE = Path(__file__).parents[2] / "docs" / "flags.md"
HEAD = """# Red flags, rule by rule

Written from the rules (`src/sidewise/knowledge/shoulder/red_flags.yaml`) and the presentations
(`tests/flags/presentations/`) by `python -m tests.flags.page`; a test keeps it in step.

A flag is **raised** if its rule holds by any of the values stated for what it reads. It is **not
excluded** as long as anything unasked, unexamined, unsure, impossible or disputed could make it
hold; then it is shown by itself if something speaks for it, and otherwise in one line of what
nobody has looked at. An everyday explanation (*unless*) holds a flag back only when it is known.
"""
COUNTS = {1: "one", 2: "two", 3: "three", 4: "four", 5: "five"}


def lines(rule: Rule, depth: int = 0) -> Iterator[str]:
    """A rule in plain words, a list in a list."""
    indent = "  " * depth
    match rule:
        case AnyOf(any_of=parts) if len(parts) > 1:
            yield from _several("any of", parts, indent, depth)
        case AllOf(all_of=parts) if len(parts) > 1:
            yield from _several("all of", parts, indent, depth)
        case AnyOf(any_of=parts) | AllOf(all_of=parts):
            yield from lines(parts[0], depth)
        case AtLeast(at_least=needed, of=parts):
            yield from _several(f"at least {COUNTS[needed]} of", parts, indent, depth)
        case Not(negated=inner):
            yield f"{indent}- not:"
            yield from lines(inner, depth + 1)
        case Unless(then=then, unless=exception):
            yield f"{indent}- unless it is known that:"
            yield from lines(exception, depth + 1)
            yield f"{indent}- then:"
            yield from lines(then, depth + 1)
        case _:
            yield f"{indent}- {leaf_words(rule)}"


def _several(word: str, parts: tuple[Rule, ...], indent: str, depth: int) -> Iterator[str]:
    if all(isinstance(part, Ask | Is | ContextIs) for part in parts):
        text = f"{word}: " + "; ".join(leaf_words(part) for part in parts)
        yield from _wrapped(f"{indent}- {text}", indent + "  ")
        return
    yield f"{indent}- {word}:"
    for part in parts:
        yield from lines(part, depth + 1)


def leaf_words(leaf: Any) -> str:
    """A leaf as one would say it."""
    match leaf:
        case Ask(ask=name):
            return PROTOCOL.history_by_id[name].label
        case ContextIs(context=test):
            said = test.model_dump(exclude_none=True).items()
            return " and ".join(_context_words(name, value) for name, value in said)
    label = _label(leaf.item)
    criterion = leaf.criterion.model_dump(exclude_defaults=True)
    criterion.pop("test", None)
    if leaf.criterion.test == "answer":
        return f"{label}: answered {' or '.join(leaf.criterion.values)}"
    tail = " on both sides" if leaf.sides == "both" else ""
    return f"{label}{_criterion_words(leaf.criterion.test, criterion)}{tail}"


def _label(name: str) -> str:
    for known in (PROTOCOL.by_id, PROTOCOL.history_by_id, PROTOCOL.vitals_by_id):
        if name in known:
            return known[name].label
    raise AssertionError(f"{name} was resolved when the rules were loaded")


def _context_words(name: str, value: Any) -> str:
    words = {
        "age_at_least": f"age {value} or over",
        "age_below": f"age under {value}",
        "duration_weeks_below": f"less than {value:g} weeks" if name.startswith("dur") else "",
        "duration_weeks_over": f"more than {value:g} weeks" if name.startswith("dur") else "",
        "pain_at_least": f"pain {value} of 10 or more",
        "onset": f"{value} onset",
        "known": f"known {value}",
        "complaint": "a complaint on that side",
        "complaint_both": "both sides complain",
        "sex": f"{value}",
    }
    return words[name]


def _criterion_words(test: str, parts: dict[str, Any]) -> str:
    match test:
        case "sign":
            return f" {parts['at_least']}" if parts.get("at_least") else ""
        case "tenderness":
            return f" tender, grade {parts.get('at_least', 1)} or more"
        case "result":
            aspects = parts.get("aspect", ())
            return f" positive{' (' + ' or '.join(aspects) + ')' if aspects else ''}"
        case "power":
            return f" below {parts['below']}"
        case "one_of":
            return f" {' or '.join(parts['values'])}"
        case "normal":
            return f", {parts.get('mode', '')}: normal by eye".replace(", :", ":")
        case "angle":
            return f", {parts['mode']}: {_limit_words(parts)} degrees"
        case "side_loss":
            return f", {parts['mode']}: {parts['at_least']:g} degrees less than the other side"
        case "side_gain":
            return f", {parts['mode']}: {parts['at_least']:g} degrees more than the other side"
        case "active_gap":
            eye = f" ({parts['by_eye']:g} by eye)" if parts.get("by_eye") else ""
            return f": active {parts['at_least']:g} degrees short of passive{eye}"
        case "vital":
            return f" {_limit_words(parts)}"
        case "vital_gap":
            return f" {parts['at_least']:g} or more between the arms"
        case "length":
            return f" {parts['at_least']:g} cm or more"
        case "seconds":
            return f" over {parts['over']:g} seconds"
    raise AssertionError(f"no words for {test}")


def _limit_words(parts: dict[str, Any]) -> str:
    if parts.get("at_least") is not None:
        return f"{parts['at_least']:g} or more"
    return f"{parts['at_most']:g} or less"


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(
        text, 110, subsequent_indent=indent, break_long_words=False, break_on_hyphens=False
    )


def _basis(basis: Provenance) -> str:
    note = f" ({basis.note})" if basis.note else ""
    return f"{basis.source}{note}: *{basis.mark}*"


def _cases(name: str, every: tuple[Presentation, ...]) -> Iterator[str]:
    words = {
        "raised": [p.id for p in every if name in p.expect.must_raise],
        "open": [p.id for p in every if name in (*p.expect.not_excluded, *p.expect.never_silent)],
        "quiet": [p.id for p in every if name in p.expect.silent],
    }
    for word, found in words.items():
        if found:
            yield from _wrapped(f"- {word}: {', '.join(f'`{one}`' for one in found)}", "  ")


def flag_section(flag: FlagRule, every: tuple[Presentation, ...]) -> Iterator[str]:
    """One flag: what it is for, its rule, what looks like it, its sources and its cases."""
    yield f"## {flag.id}: {flag.label}"
    yield ""
    yield from _wrapped(f"**{flag.purpose}** Suspect {flag.suspect}.")
    yield ""
    yield from _wrapped(f"**{flag.urgency}**, {HOW_FAST[flag.urgency]}. {flag.do}")
    yield ""
    yield from _wrapped(flag.why)
    yield ""
    yield from _wrapped(f"Harmless likeness: {flag.everyday}")
    yield ""
    yield "Rule:"
    yield ""
    yield from lines(flag.when)
    yield ""
    if flag.called_for_by:
        yield "Called for by:"
        yield ""
        yield from lines(flag.called_for_by)
        yield ""
    yield from _effects(flag)
    yield from _sources(flag)
    yield "Cases:"
    yield ""
    yield from _cases(flag.id, every)
    yield ""


def _effects(flag: FlagRule) -> Iterator[str]:
    kept = [BOOK.withhold_groups[name].label for name in flag.withhold]
    void = [BOOK.meaningless_groups[name].label for name in flag.meaningless]
    if kept:
        yield from _wrapped(f"Withholds: {'; '.join(kept)}.")
        yield ""
    if void:
        yield from _wrapped(f"Makes meaningless the percentages of: {'; '.join(void)}.")
        yield ""


def _sources(owner: FlagRule | Threshold) -> Iterator[str]:
    yield "Sources:"
    yield ""
    for basis in owner.basis:
        yield from _wrapped(f"- {_basis(basis)}", "  ")
    for figure in owner.figures:
        what = ", ".join(word.replace("_", " ") for word in figure.what)
        what = what if len(figure.what) < 4 else f"{len(figure.what)} measures"
        value = f"{figure.value:g}" if isinstance(figure.value, float | int) else figure.value
        yield from _wrapped(f"- {what} {value}: {figure.source}: *{figure.mark}*", "  ")
    yield ""


def text() -> str:
    """The whole page."""
    every = presentations()
    found = [HEAD, _contents()]
    for flag in BOOK.flags:
        found.append("\n".join(flag_section(flag, every)))
    found.append("# Referral and film\n\nThe plan offers these; they raise nothing.\n")
    for threshold in BOOK.thresholds:
        part = [f"## {threshold.id}: {threshold.label}", "", threshold.do, "", "Rule:", ""]
        found.append("\n".join([*part, *lines(threshold.when), "", *_sources(threshold)]))
    return "\n".join(found).rstrip("\n") + "\n"


def _contents() -> str:
    rows = [
        f"| `{flag.id}` | {flag.purpose} | {flag.urgency} | {flag.suspect} |" for flag in BOOK.flags
    ]
    head = "| flag | asks | how fast | suspects |\n| --- | --- | --- | --- |"
    return f"{len(BOOK.flags)} flags.\n\n{head}\n" + "\n".join(rows) + "\n"


if __name__ == "__main__":
    PAGE.write_text(text(), encoding="utf-8")
