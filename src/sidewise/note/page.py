"""The note as one self-contained, printable HTML page: the first page, then the appendix."""

from __future__ import annotations

from collections.abc import Iterator
from html import escape
from pathlib import Path

from sidewise.ground.language import language, mark_text, say_text, term
from sidewise.knowledge.region import Region
from sidewise.note.body import Line
from sidewise.note.document import APPENDIX, NoteDocument, NotePart
from sidewise.note.plates import figure_section, plates_style
from sidewise.note.text import note_document
from sidewise.reason.result import Interpretation
from sidewise.record import Record

NOTE_STYLE = Path(__file__).parent / "static" / "sidewise" / "note.css"
STYLE = """
:root { color-scheme: light dark; --ink: #22201c; --paper: #fbf8f2 }
@media (prefers-color-scheme: dark) { :root { --ink: #ece7dd; --paper: #1d1b18 } }
@media print { :root { --ink: #000; --paper: #fff } body { margin: 0; padding: 0 } }
body { font: 1rem/1.45 system-ui, sans-serif; color: var(--ink); background: var(--paper);
  margin: 2rem auto; max-width: 52rem; padding: 0 1rem }
@media print { body { margin: 0; max-width: none; padding: 0 } }
"""


def note_html(record: Record, result: Interpretation, region: Region) -> str:
    """The whole note as one HTML page with its own style; every word escaped, nothing fetched."""
    title = escape(record.context.patient)
    head = say_text("Note: {patient}", patient=title)
    style = STYLE + NOTE_STYLE.read_text(encoding="utf-8") + plates_style()
    return (
        f'<!doctype html><html lang="{language()}"><head><meta charset="utf-8">'
        f"<title>{head}</title>"
        f'<meta name="viewport" content="width=device-width"><style>{style}</style></head>'
        f'<body><main class="note">{note_body(record, result, region)}</main></body></html>'
    )


def note_body(record: Record, result: Interpretation, region: Region) -> str:
    """The same note without page and style, for a page that has its own; every word escaped."""
    document = note_document(record, result, region)
    figure = figure_section(record, region)
    return f"{_front(document)}{_appendix(document, figure)}"


def _front(document: NoteDocument) -> str:
    first, *rest = document.heading
    parts = [
        f"<h1>{escape(first)}</h1>",
        *(f"<p>{escape(sentence)}</p>" for sentence in rest),
        *(_block(one, "h2") for one in document.front),
        f'<p class="signed">{escape(document.signature)}</p>',
    ]
    return f'<div class="front">{"".join(parts)}</div>'


def _appendix(document: NoteDocument, figure: str) -> str:
    if not document.appendix:
        return ""
    parts = "".join(
        figure if one.style == "figure" else _block(one, "h3") for one in document.appendix
    )
    return f'<div class="appendix"><h2>{term(APPENDIX)}</h2>{parts}</div>'


ITEM = mark_text("item")
RIGHT, LEFT = mark_text("patient's right"), mark_text("patient's left")
CLASSES = {"flags": ' class="flags"', "sentences": ' class="run"'}


def _block(one: NotePart, heading: str) -> str:
    remark = f" <span>({escape(one.remark)})</span>" if one.remark else ""
    head = f"<{heading}>{escape(one.title)}{remark}</{heading}>"
    kind = CLASSES.get(one.style, "")
    said = [entry for entry in one.entries if isinstance(entry, str)]
    lines = [entry for entry in one.entries if isinstance(entry, Line)]
    return f"<section{kind}>{head}{''.join(_said(one, said))}{_table(lines)}</section>"


def _said(one: NotePart, sentences: list[str]) -> Iterator[str]:
    if one.style == "list" and sentences:
        yield f"<ul>{''.join(f'<li>{escape(words)}</li>' for words in sentences)}</ul>"
    else:
        yield from (f"<p>{escape(words)}</p>" for words in sentences)


def _table(lines: list[Line]) -> str:
    if not lines:
        return ""
    head = (
        f"<tr><th scope=col>{term(RIGHT)}</th><th scope=col>{term(ITEM)}</th>"
        f"<th scope=col>{term(LEFT)}</th></tr>"
    )
    rows = "".join(_row(line) for line in lines)
    return f"<table><thead>{head}</thead><tbody>{rows}</tbody></table>"


def _row(line: Line) -> str:
    remark = f'<br><span class="remark">{escape(line.remark)}</span>' if line.remark else ""
    item = f"<th scope=row>{escape(line.label)}{remark}</th>"
    right, left = (line.both, line.both) if line.both is not None else (line.right, line.left)
    return f"<tr><td>{escape(right or '')}</td>{item}<td>{escape(left or '')}</td></tr>"
