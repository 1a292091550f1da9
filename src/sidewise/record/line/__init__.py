"""A typed or dictated line: the trade's shorthand, read by a grammar and written back."""

from sidewise.record.line.reader import LONGEST, read_line
from sidewise.record.line.result import (
    Choice,
    LineReading,
    NotUnderstood,
    Question,
    Span,
    Understood,
)
from sidewise.record.line.words import load_words
from sidewise.record.line.writer import write_line

__all__ = [
    "LONGEST",
    "Choice",
    "LineReading",
    "NotUnderstood",
    "Question",
    "Span",
    "Understood",
    "load_words",
    "read_line",
    "write_line",
]
