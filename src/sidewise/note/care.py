"""What was done and is planned, and what tests showed, in words: alike on page, note and print."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol, protocol_of
from sidewise.reason.judging.flags import flag_book_of
from sidewise.reason.judging.injections import flags_not_acknowledged
from sidewise.record import (
    CareEntry,
    CareStep,
    Injection,
    InjectionResponse,
    Investigation,
    Record,
    Score,
)

SIDE_WORDS = {"left": "left", "right": "right", "both": "both sides"}
ASKED = {"allergy": "allergy", "blood_thinner": "blood thinner", "diabetes": "diabetes",
         "infection": "infection"}  # fmt: skip


def care_phrase(entry: CareEntry, region: Region) -> str:
    """One entry in words; what was not stated is not said."""
    match entry:
        case Investigation():
            return _investigation(entry)
        case CareStep():
            return _step(entry)
        case Injection():
            return _injection(entry, region)
        case Score():
            return _score(entry)


def test_lines(record: Record, region: Region) -> list[str]:
    """What tests showed, in one sentence; none if nothing is recorded."""
    tests = [care_phrase(e, region) for e in record.care if isinstance(e, Investigation)]
    return [f"{'; '.join(tests)}."] if tests else []


def done_lines(record: Record, region: Region) -> list[str]:
    """What was done, and what was injected against a raised flag; none if nothing is recorded."""
    done = [care_phrase(e, region) for e in record.care if _is_done(e)]
    lines = [f"DONE: {'; '.join(done)}."] if done else []
    if left := flags_not_acknowledged(record, region):
        named = "; ".join(flag.label for flag in left)
        lines.append(f"INJECTED AGAINST A RAISED FLAG, not acknowledged by name: {named}.")
    return lines


def planned_phrases(record: Record, region: Region) -> list[str]:
    """What is planned as data, for the plan of a note."""
    return [
        care_phrase(entry, region)
        for entry in record.care
        if isinstance(entry, CareStep) and entry.state == "planned"
    ]


def score_phrases(record: Record, protocol: Protocol) -> list[str]:
    """Totals and pain by number, for the history of a note."""
    known = protocol.scales_by_id
    stated = [
        f"{known[name].label} {number:g} (of {known[name].low:g} to {known[name].high:g})"
        if name in known
        else f"{name.replace('_', ' ')} {number:g}"
        for name, number in record.context.scales.items()
    ]
    own = [_score(entry) for entry in record.care if isinstance(entry, Score)]
    return [*stated, *own]


def _is_done(entry: CareEntry) -> bool:
    return isinstance(entry, Injection) or (isinstance(entry, CareStep) and entry.state == "done")


def _sided(words: str, side: str | None) -> str:
    return f"{words} ({SIDE_WORDS[side]})" if side else words


def _investigation(entry: Investigation) -> str:
    parts = [f"{_sided(entry.name, entry.side)} {entry.outcome}"]
    if entry.number is not None:
        parts.append(f"{entry.number:g} {entry.unit}")
    if entry.taken_on is not None:
        parts.append(f"taken {entry.taken_on:%d %b %Y}".replace(" 0", " "))
    text = ", ".join(parts)
    return f"{text}: {entry.report}" if entry.report else text


def _score(entry: Score) -> str:
    return f"{entry.name} {entry.total:g} (of {entry.low:g} to {entry.high:g})"


def _step(entry: CareStep) -> str:
    parts = [_sided(entry.name, entry.side)]
    if entry.to:
        parts.append(f"to {entry.to}")
    if entry.how_fast:
        parts.append(entry.how_fast)
    if entry.in_weeks is not None:
        parts.append(f"in {entry.in_weeks:g} week{'' if entry.in_weeks == 1 else 's'}")
    text = ", ".join(parts)
    return f"{text}: {entry.detail}" if entry.detail else text


def _injection(entry: Injection, region: Region) -> str:
    drugs = " and ".join(f"{s.name} {s.dose:g} {s.unit}" for s in entry.substances)
    how = f", guided by {entry.guided_by}" if entry.guided_by else ""
    where = f"the patient's {entry.side.upper()} side, {entry.place}"
    text = f"injection of {drugs}, {where}{how}; consent given; {_asked(entry)}"
    return "; ".join((text, *_more(entry, region)))


def _asked(entry: Injection) -> str:
    answers: dict[str, list[str]] = {}
    for name, word in ASKED.items():
        answers.setdefault(getattr(entry, name), []).append(word)
    return "asked before: " + ", ".join(
        f"{answer} to {' and '.join(words)}" for answer, words in answers.items()
    )


def _more(entry: Injection, region: Region) -> Iterator[str]:
    if entry.despite:
        yield f"given all the same because {entry.despite}"
    if entry.flags:
        labels = {rule.id: rule.label for rule in flag_book_of(region).flags}
        named = ", ".join(labels.get(name, name) for name in entry.flags)
        yield f"acknowledged by name, though raised: {named}"
    if entry.response:
        yield _response(entry.response, protocol_of(region))
    if entry.note:
        yield entry.note


def _response(found: InjectionResponse, protocol: Protocol) -> str:
    text = f"after {found.after_minutes:g} minutes {found.relief} of the pain gone"
    if found.movement is None:
        return text
    label = protocol.item(found.movement).label
    return f"{text}, {label} {found.degrees_before:g}° before and {found.degrees_after:g}° after"
