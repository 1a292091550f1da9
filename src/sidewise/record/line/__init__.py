"""A typed or dictated line: the trade's shorthand, read by a grammar and written back."""

from sidewise.record.line.reader import LONGEST, read_line
from sidewise.record.line.result import (
    LineReading,
    NotUnderstood,
    OfferedMeaning,
    Question,
    Span,
    Understood,
)
from sidewise.record.line.words import line_words_of
from sidewise.record.line.writer import write_line

__all__ = [
    "LONGEST",
    "LineReading",
    "NotUnderstood",
    "OfferedMeaning",
    "Question",
    "Span",
    "Understood",
    "line_words_of",
    "read_line",
    "write_line",
]
