"""A typed line on its way into the ledger: what was read, shown for a person to confirm.

The server reads the line again when it is confirmed: the page sends only the text and which
answer was chosen for each question.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sidewise.errors import UserError
from sidewise.note.phrases import finding_phrase
from sidewise.record.line import LineReading, read_line, write_line
from sidewise.record.line.result import Question
from sidewise.record.model import Finding
from sidewise.web.examinations.rows import SIDE_WORDS
from sidewise.web.examinations.state import Current

LONGEST = 1_000
"""Characters of one line on the page; longer dictation is read in parts, each confirmed."""
LEFT_OUT = "leave out"


@dataclass(frozen=True, slots=True)
class ShownFinding:
    """One finding in words, and what recording it would do to what is there already."""

    label: str
    where: str
    phrase: str
    line: str
    replaced: tuple[str, ...]
    beside: tuple[str, ...]
    withheld: str | None


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer that can be chosen: what the form sends, its words, and what it would record."""

    code: str
    label: str
    shown: tuple[ShownFinding, ...]


@dataclass(frozen=True, slots=True)
class AskedQuestion:
    """A question with the field that carries its answer, and what was chosen so far."""

    field: str
    question: Question
    answers: tuple[Answer, ...]
    chosen: str


def line_of(form: Mapping[str, str]) -> str:
    """The line that was typed; UserError if there is none or it is too long."""
    # A browser sends ends of lines as two characters.
    text = form.get("text", "").replace("\r\n", "\n").strip()
    if not text:
        raise UserError("the line", None, "what was found", 'For example "Neer R neg".')
    if len(text) > LONGEST:
        raise UserError("the line", f"{len(text)} characters", f"at most {LONGEST:,}",
                        "Type it in several parts.")  # fmt: skip
    return text


def reading_of(text: str, now: Current) -> LineReading:
    """The line, read by the protocol of this examination."""
    return read_line(text, now.region)


def shown_finding(finding: Finding, now: Current) -> ShownFinding:
    """A finding as it is shown before it is recorded."""
    item = now.protocol.by_id[finding.item]
    side = SIDE_WORDS[finding.side] if item.paired else ""
    takes = now.folded.holding(finding)
    there = {name: held for name, held in now.holders.items() if held.place == finding.place}
    return ShownFinding(
        label=item.label,
        where=", ".join(filter(None, (finding.mode, side))),
        phrase=finding_phrase(finding, item),
        line=write_line(finding, now.region),
        replaced=tuple(finding_phrase(there[name], item) for name in takes),
        beside=tuple(
            finding_phrase(held, item) for name, held in there.items() if name not in takes
        ),
        withheld=now.withheld.why(item, finding.mode),
    )


def asked_questions(
    reading: LineReading, form: Mapping[str, str], now: Current
) -> list[AskedQuestion]:
    """The questions in order, each with its answers and the one chosen so far."""
    return [
        AskedQuestion(_field(place), question, _answers(question, now), form.get(_field(place), ""))
        for place, question in enumerate(reading.questions)
    ]


def _field(place: int) -> str:
    return f"question.{place}"


def _answers(question: Question, now: Current) -> tuple[Answer, ...]:
    return tuple(
        Answer(
            code, choice.label, tuple(shown_finding(finding, now) for finding in choice.findings)
        )
        for code, choice in zip(_codes(question), question.choices, strict=True)
    )


def _codes(question: Question) -> list[str]:
    # The words go with the number: an answer to another reading of the line is no answer.
    return [f"{number} {choice.label}" for number, choice in enumerate(question.choices)]


def chosen_findings(reading: LineReading, form: Mapping[str, str]) -> list[Finding]:
    """The findings to record: those stated, then those of the answers. UserError if one is open."""
    found = list(reading.findings)
    for place, question in enumerate(reading.questions):
        found += _answered(question, form.get(_field(place), ""))
    if not found:
        raise UserError("the line", None, "at least one finding", "Nothing was recorded.")
    return found


def _answered(question: Question, code: str) -> tuple[Finding, ...]:
    if code == LEFT_OUT:
        return ()
    codes = _codes(question)
    if code not in codes:
        raise UserError(f'"{question.span.text}"', None, "an answer, or to be left out",
                        "Nothing was recorded yet.")  # fmt: skip
    return question.choices[codes.index(code)].findings
