"""What a note consists of: blocks of sentences and of compared lines, before they are set.

Text, page and print are set from one document, so that none can say what the others do not.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from sidewise.ground.language import mark_text, term
from sidewise.note.body import Line

NoteEntry = str | Line
PartStyle = Literal["flags", "sentences", "list", "lines", "figure"]


@dataclass(frozen=True, slots=True)
class NotePart:
    """One part of a note under its title.

    remark: said beside the title. style: how the entries are set; "lines" are compared between
    the sides, "figure" is drawn where drawing is possible and is said in words elsewhere.
    """

    title: str
    entries: tuple[NoteEntry, ...]
    style: PartStyle = "sentences"
    remark: str = ""


@dataclass(frozen=True, slots=True)
class NoteDocument:
    """A whole note: who it is about, the first page, who signed, then everything recorded."""

    heading: tuple[str, ...]
    front: tuple[NotePart, ...]
    signature: str
    appendix: tuple[NotePart, ...]


APPENDIX = mark_text("everything that was recorded")
"""The title under which the appendix begins."""


def note_part(
    title: str, entries: Iterable[NoteEntry], style: PartStyle = "sentences"
) -> tuple[NotePart, ...]:
    """The part, or none where there is nothing to say; its title in the language spoken."""
    kept = tuple(entries)
    return (NotePart(term(title), kept, style),) if kept else ()
