"""The note as one self-contained, printable HTML page."""

from __future__ import annotations

from html import escape

from sidewise.note.body import Line, StageText, stage_texts, unable_lines
from sidewise.note.meaning import condition_words, flag_lines, next_words, shown_and_rest
from sidewise.note.plan import plan_lines
from sidewise.note.text import header_lines, signature_line
from sidewise.protocol import load_protocol
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.record import Record

STYLE = """
:root { color-scheme: light dark;
  --ink: #22201c; --paper: #fbf8f2; --line: #b9b1a3; --quiet: #5c564c }
@media (prefers-color-scheme: dark) {
  :root { --ink: #ece7dd; --paper: #1d1b18; --line: #6b6459; --quiet: #b5ad9f }
}
body { font: 1rem/1.45 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  max-width: 50rem; margin: 2rem auto; padding: 0 1rem; font-variant-numeric: tabular-nums }
h1 { font-size: 1.3rem } h2 { font-size: 1rem; margin: 1.2rem 0 .3rem; text-transform: capitalize }
.flags { border: 2px solid currentColor; padding: .6rem .9rem; white-space: pre-wrap }
table { border-collapse: collapse; width: 100% } caption { text-align: left; color: var(--quiet) }
th, td { text-align: left; vertical-align: top; padding: .2rem .5rem .2rem 0;
  border-top: 1px solid var(--line); width: 33% }
.quiet { color: var(--quiet) } footer { margin-top: 1.5rem; border-top: 1px solid var(--line) }
@media print { body { margin: 0; max-width: none; font-size: 10pt } }
"""


def note_html(record: Record, result: Interpretation) -> str:
    """The whole note as one HTML page with its own style; every word escaped, nothing fetched."""
    title = escape(record.context.patient)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>Note: {title}</title>'
        f'<meta name="viewport" content="width=device-width"><style>{STYLE}</style></head><body>'
        f"<main>{_main(record, result)}</main>{_footer(record, result)}</body></html>"
    )


def note_body(record: Record, result: Interpretation) -> str:
    """The same note without page and style, for a page that has its own; every word escaped."""
    return _main(record, result) + _footer(record, result)


def _main(record: Record, result: Interpretation) -> str:
    protocol = load_protocol(record.region)
    flags = "\n".join(flag_lines(result.red_flags))
    heading, *lines = header_lines(record, protocol)
    parts = [
        f"<h1>{escape(heading)}</h1>",
        *(f"<p>{escape(line)}</p>" for line in lines),
        f'<section class="flags" aria-label="red flags">{escape(flags)}</section>' if flags else "",
        *(_stage(text) for text in stage_texts(record, protocol, result)),
        _list("Could not be examined", list(unable_lines(record, protocol))),
        _list("Caution", list(result.warnings)),
        *_meaning(result),
        _list("Would tell most next", [next_words(entry) for entry in result.next[:3]]),
        _list("Plan", [line.strip() for line in plan_lines(record, result)[1:]]),
    ]
    return "".join(parts)


def _footer(record: Record, result: Interpretation) -> str:
    cautions = " ".join(escape(caution) for caution in result.cautions)
    return f"<footer><p>{escape(signature_line(record))}</p><p>{cautions}</p></footer>"


def _stage(text: StageText) -> str:
    normal = f"<p>Normal: {escape(', '.join(text.normal))}.</p>" if text.normal else ""
    left_open = (
        f'<p class="quiet">Not examined: {escape(", ".join(text.open))}.</p>' if text.open else ""
    )
    rows = "".join(_row(line) for line in text.lines)
    rows += "".join(_row(Line(r.label, r.right, r.left, None)) for r in text.ranges)
    head = (
        "<tr><th scope=col>patient's right</th><th scope=col>item</th>"
        "<th scope=col>patient's left</th></tr>"
    )
    table = f"<table><thead>{head}</thead><tbody>{rows}</tbody></table>" if rows else ""
    return f"<section><h2>{escape(text.stage)}</h2>{normal}{table}{left_open}</section>"


def _row(line: Line) -> str:
    remark = f'<br><span class="quiet">{escape(line.remark)}</span>' if line.remark else ""
    item = f"<th scope=row>{escape(line.label)}{remark}</th>"
    if line.both is not None:
        return f"<tr><td>{escape(line.both)}</td>{item}<td>{escape(line.both)}</td></tr>"
    return f"<tr><td>{escape(line.right or '')}</td>{item}<td>{escape(line.left or '')}</td></tr>"


def _meaning(result: Interpretation) -> list[str]:
    groups: list[tuple[str, tuple[ConditionPosterior, ...]]] = [
        (side, result.sides[side].conditions) for side in ("right", "left") if side in result.sides
    ]
    groups.append(("whole person", result.whole_person.conditions))
    return [
        _list(f"What it may mean: {where}", [condition_words(c) for c in shown_and_rest(cs)[0]])
        for where, cs in groups
    ]


def _list(title: str, lines: list[str]) -> str:
    if not lines:
        return ""
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return f"<section><h2>{escape(title)}</h2><ul>{items}</ul></section>"
