"""What reading a line gives: findings, what was understood, what was not, and what is asked.

Plain dataclasses with places in the text, so that a page can mark each part of the line.
"""

from __future__ import annotations

from dataclasses import dataclass

from sidewise.record.model import Finding


@dataclass(frozen=True, slots=True)
class Span:
    """A part of the text, from `start` up to but not including `end`."""

    start: int
    end: int
    text: str


@dataclass(frozen=True, slots=True)
class Understood:
    """A part of the text and the findings it states."""

    span: Span
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class NotUnderstood:
    """A part of the text from which nothing was taken, the words at fault, and why."""

    span: Span
    words: tuple[Span, ...]
    why: str


@dataclass(frozen=True, slots=True)
class OfferedMeaning:
    """One answer to a question, and the findings that it would make."""

    label: str
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """A part of the text that could mean several things; nothing is taken until it is answered."""

    span: Span
    text: str
    choices: tuple[OfferedMeaning, ...]


@dataclass(frozen=True, slots=True)
class LineReading:
    """A line as it was read; every word of it is in one of the three lists."""

    text: str
    understood: tuple[Understood, ...]
    not_understood: tuple[NotUnderstood, ...]
    questions: tuple[Question, ...]

    @property
    def findings(self) -> tuple[Finding, ...]:
        """The findings stated, in the order of the text."""
        return tuple(finding for part in self.understood for finding in part.findings)

    @property
    def whole(self) -> bool:
        """Whether all of it was understood and nothing has to be asked."""
        return not self.not_understood and not self.questions


class Unreadable(Exception):
    """An entry, or a part of one, that cannot be read; becomes a `NotUnderstood`."""

    def __init__(self, why: str, words: tuple[Span, ...] = ()) -> None:
        self.why = why
        self.words = words
        super().__init__(why)
