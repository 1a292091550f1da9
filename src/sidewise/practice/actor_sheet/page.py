"""The actor's sheet in lines of text and as a page to print."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from html import escape

from sidewise.plan.pocket_card import printed_page
from sidewise.practice.actor_sheet.sheet import ActorSheet, Showing

TITLE = "Sheet for the patient actor"
REST = (
    "Everything else is as in a healthy person, on both sides. Move freely, and say that it does "
    "not hurt. What is on no sheet you do not invent: say that you are not sure."
)
STOP = (
    "If something really hurts you, say STOP in your own voice: the examination ends there. "
    "Nothing on this sheet is worth a real pain."
)
CARDS = "Hand over, when it is looked for and not before"


def actor_text(sheet: ActorSheet) -> str:
    """The sheet as text."""
    return "\n".join(_lines(sheet)) + "\n"


def _lines(sheet: ActorSheet) -> Iterator[str]:
    yield from (TITLE, sheet.case, sheet.notice, "", sheet.who, sheet.voice, "")
    yield f'Say first: "{sheet.opening}"'
    yield f"When asked how it began: {sheet.onset}"
    yield from _listed("Answer YES to", sheet.yes)
    yield from _listed("Answer NO to", sheet.no)
    yield 'To any other question: "I could not say."'
    yield from _listed("Show", [_words(one) for one in sheet.show])
    yield from _listed(CARDS, [*(_words(one) for one in sheet.cards), *sheet.vitals])
    yield from ("", REST, STOP)


def _listed(title: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield ""
        yield f"{title}:"
        yield from (f"  - {line}" for line in lines)


def _words(one: Showing) -> str:
    side = f", {one.side.upper()}" if one.side else ""
    return f"{one.label}{side}: {one.words}"


def actor_page(sheet: ActorSheet) -> str:
    """The sheet as one HTML page that needs nothing else, marked on every part as simulated."""
    head = (
        f'<p class="stop">{escape(sheet.notice)}</p>'
        f"<p>{escape(sheet.who)} {escape(sheet.voice)}</p>"
        f"<p><strong>Say first:</strong> {escape(sheet.opening)}</p>"
        f"<p><strong>When asked how it began:</strong> {escape(sheet.onset)}</p>"
    )
    parts = (
        _section("Answer yes to", sheet.yes),
        _section("Answer no to", sheet.no),
        _section("Show", [_words(one) for one in sheet.show]),
        _section(CARDS, [*(_words(one) for one in sheet.cards), *sheet.vitals]),
    )
    foot = "".join(f"<p>{escape(line)}</p>" for line in (REST, STOP, sheet.notice))
    code = f'<p class="quiet">{escape(sheet.case)}</p>'
    body = f'{head}<div class="columns">{"".join(parts)}</div><footer>{foot}{code}</footer>'
    return printed_page(TITLE, body)


def _section(title: str, lines: Sequence[str]) -> str:
    rows = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<section><h2>{escape(title)}</h2><ul>{rows}</ul></section>" if rows else ""
