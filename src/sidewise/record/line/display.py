"""A reading shown back: as text for a person to confirm, and as plain data."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any

from sidewise.knowledge.region import Region
from sidewise.protocol import protocol_of
from sidewise.record.line.result import LineReading, OfferedMeaning, Span
from sidewise.record.line.writer import write_line
from sidewise.record.model import Finding

FORMAT = "sidewise-line/1"


def line_text(reading: LineReading, region: Region) -> str:
    """What was read, what is asked and what was not understood, each with its part of the line."""
    return "\n".join([*_read(reading, region), *_asked(reading), *_unread(reading)])


def _read(reading: LineReading, region: Region) -> Iterator[str]:
    for part in reading.understood:
        for finding in part.findings:
            label = protocol_of(region).by_id[finding.item].label
            yield f"read            {label}: {write_line(finding, region)}"


def _asked(reading: LineReading) -> Iterator[str]:
    for question in reading.questions:
        labels = "; ".join(choice.label for choice in question.choices)
        yield f'to be asked     "{question.span.text}": {question.text} {labels}'.rstrip()


def _unread(reading: LineReading) -> Iterator[str]:
    for part in reading.not_understood:
        yield f'not understood  "{part.span.text}": {part.why}'


def line_json(reading: LineReading) -> str:
    """The reading as JSON: findings as in a record, with the places in the text they came from."""
    document = {
        "format": FORMAT,
        "text": reading.text,
        "findings": _findings(reading.findings),
        "understood": [
            {**asdict(p.span), "findings": _findings(p.findings)} for p in reading.understood
        ],
        "questions": [
            {**asdict(q.span), "question": q.text, "choices": [_choice(c) for c in q.choices]}
            for q in reading.questions
        ],
        "not_understood": [
            {**asdict(p.span), "words": [_span(word) for word in p.words], "why": p.why}
            for p in reading.not_understood
        ],
    }
    return json.dumps(document, indent=1, ensure_ascii=False)


def _span(span: Span) -> dict[str, Any]:
    return asdict(span)


def _choice(choice: OfferedMeaning) -> dict[str, Any]:
    return {"label": choice.label, "findings": _findings(choice.findings)}


def _findings(findings: tuple[Finding, ...]) -> list[dict[str, Any]]:
    """As in a record's JSON: nothing that was not stated."""
    return [
        finding.model_dump(mode="json", by_alias=True, exclude_defaults=True)
        for finding in findings
    ]
