"""A letter: to whom, what, and how it is laid out."""

from __future__ import annotations

import re
import textwrap
from dataclasses import dataclass

from sidewise.teaching.sitting.view import SAFETY

WIDTH = 88


@dataclass(frozen=True, slots=True)
class Letter:
    """To whom (a kind and a code) and what."""

    kind: str
    code: str
    text: str

    @property
    def file(self) -> str:
        """A file name that any system can keep."""
        return f"{re.sub(r'[^A-Za-z0-9_-]+', '_', self.code) or 'none'}.txt"


def letter_text(title: str, paragraphs: list[str]) -> str:
    """Title and paragraphs, wrapped; a paragraph with line breaks keeps them."""
    parts = [p if "\n" in p else textwrap.fill(p, WIDTH) for p in [title, *paragraphs, SAFETY] if p]
    return "\n\n".join(parts) + "\n"


def listed_lines(title: str, lines: list[str]) -> str:
    """A title with lines below it; "" where there are none. Long lines are wrapped."""
    told = [
        textwrap.fill(line, WIDTH, initial_indent="  ", subsequent_indent="    ") for line in lines
    ]
    return "\n".join([title, *told]) if lines else ""
