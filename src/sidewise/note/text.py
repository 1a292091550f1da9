"""The note as plain text, and the one document from which text and page are set."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from sidewise.ground.language import say_date, say_text, term
from sidewise.ground.line_width import line_width
from sidewise.knowledge.region import Region
from sidewise.note.appendix import appendix_blocks
from sidewise.note.body import line_words, stage_texts
from sidewise.note.completeness import completeness_of
from sidewise.note.document import APPENDIX, NoteDocument, NotePart
from sidewise.note.front import front_blocks
from sidewise.note.header import header_sentences, unreviewed_sentences
from sidewise.protocol.translation import shown_protocol
from sidewise.reason.result import Interpretation
from sidewise.record import Record

WIDTH = 100


def note_document(record: Record, result: Interpretation, region: Region) -> NoteDocument:
    """Everything a note says, before it is set as text or as a page."""
    protocol = shown_protocol(region)
    state = completeness_of(record, result, region)
    stages = stage_texts(protocol, result, state)
    return NoteDocument(
        (*header_sentences(record, protocol), *unreviewed_sentences()),
        front_blocks(record, result, region, state, stages),
        signature_line(record),
        appendix_blocks(record, result, region, stages),
    )


def note_text(record: Record, result: Interpretation, region: Region) -> str:
    """The whole note, wrapped to a page's width."""
    return document_text(note_document(record, result, region))


def document_text(document: NoteDocument) -> str:
    """A document of parts as text, wrapped to a page's width."""
    lines = [
        *(line for sentence in document.heading for line in _wrapped(sentence)),
        *_blocks(document.front),
        *_wrapped(document.signature),
    ]
    if document.appendix:
        lines += ["", term(APPENDIX).upper(), *_blocks(document.appendix)]
    return "\n".join(lines)


def _blocks(blocks: tuple[NotePart, ...]) -> Iterator[str]:
    for one in blocks:
        yield from _set(one)


def _set(one: NotePart) -> Iterator[str]:
    head = one.title.upper() + (f" ({one.remark})" if one.remark else "")
    first, *rest = one.entries
    # A sentence stands beside its title; lines and lists begin below it.
    if isinstance(first, str) and one.style in ("sentences", "lines", "flags"):
        yield from _wrapped(f"{head}  {first}")
    else:
        yield from _wrapped(head)
        rest = [first, *rest]
    for entry in rest:
        yield from _wrapped(f"  {entry if isinstance(entry, str) else line_words(entry)}")


def _wrapped(line: str) -> list[str]:
    lead = len(line) - len(line.lstrip())
    indent = " " * (lead + 2)
    return textwrap.wrap(line, line_width(WIDTH), subsequent_indent=indent, break_long_words=False)


def signature_line(record: Record) -> str:
    """Who signed which revision, or that this is a draft; and who amended it and why."""
    if record.signed is None:
        text = say_text("DRAFT, revision {number}, not signed.", number=record.revision)
    else:
        text = say_text(
            "Signed by {by}, {at}, revision {number}.",
            by=record.signed.by, at=say_date(record.signed.at), number=record.revision,
        )  # fmt: skip
    if record.earlier:
        last = record.earlier[-1]
        text += " " + say_text("Amended by {by}: {reason}. Earlier revisions are kept.",
                               by=last.amended_by, reason=last.reason)  # fmt: skip
    for repair in record.repairs:
        text += " " + say_text("PUT RIGHT: {sentence}.", sentence=repair.sentence)
    return text
