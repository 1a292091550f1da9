"""What was done and is planned, and what tests showed, in words: alike on page, note and print."""

from __future__ import annotations

from collections.abc import Iterator

from sidewise.ground.language import mark_text, say_date, say_degrees, say_number, say_text, term
from sidewise.knowledge.region import Region
from sidewise.protocol import Protocol
from sidewise.protocol.translation import shown_protocol
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

SIDE_WORDS = {
    "left": mark_text("left"),
    "right": mark_text("right"),
    "both": mark_text("both sides"),
}
ASKED = {
    "allergy": mark_text("allergy"),
    "blood_thinner": mark_text("blood thinner"),
    "diabetes": mark_text("diabetes"),
    "infection": mark_text("infection"),
}


INJECTED = {
    "right": mark_text(
        "injection of {drugs}, the patient's RIGHT side, {where}{how}; consent given; {asked}"
    ),
    "left": mark_text(
        "injection of {drugs}, the patient's LEFT side, {where}{how}; consent given; {asked}"
    ),
}


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
    lines = [say_text("DONE: {words}.", words="; ".join(done))] if done else []
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
        _total(known[name].label, number, known[name].low, known[name].high)
        if name in known
        else f"{term(name.replace('_', ' '))} {say_number(number)}"
        for name, number in record.context.scales.items()
    ]
    own = [_score(entry) for entry in record.care if isinstance(entry, Score)]
    return [*stated, *own]


def _is_done(entry: CareEntry) -> bool:
    return isinstance(entry, Injection) or (isinstance(entry, CareStep) and entry.state == "done")


def _sided(words: str, side: str | None) -> str:
    return f"{term(words)} ({term(SIDE_WORDS[side])})" if side else term(words)


def _investigation(entry: Investigation) -> str:
    parts = [f"{_sided(entry.name, entry.side)} {term(entry.outcome)}"]
    if entry.number is not None:
        parts.append(f"{say_number(entry.number)} {entry.unit}")
    if entry.taken_on is not None:
        parts.append(say_text("taken {day}", day=say_date(entry.taken_on)))
    text = ", ".join(parts)
    return f"{text}: {entry.report}" if entry.report else text


def _score(entry: Score) -> str:
    return _total(entry.name, entry.total, entry.low, entry.high)


def _total(name: str, total: float, low: float, high: float) -> str:
    return say_text("{name} {total} (of {low} to {high})", name=name, total=float(total),
                    low=float(low), high=float(high))  # fmt: skip


def _step(entry: CareStep) -> str:
    parts = [_sided(entry.name, entry.side)]
    if entry.to:
        parts.append(say_text("to {whom}", whom=entry.to))
    if entry.how_fast:
        parts.append(term(entry.how_fast))
    if entry.in_weeks is not None:
        one = entry.in_weeks == 1
        weeks = float(entry.in_weeks)
        parts.append(say_text("in 1 week") if one else say_text("in {weeks} weeks", weeks=weeks))
    text = ", ".join(parts)
    return f"{text}: {entry.detail}" if entry.detail else text


def _injection(entry: Injection, region: Region) -> str:
    each = [f"{s.name} {say_number(s.dose)} {s.unit}" for s in entry.substances]
    how = say_text(", guided by {what}", what=term(entry.guided_by)) if entry.guided_by else ""
    where = term(entry.place)
    text = say_text(INJECTED[entry.side], drugs=say_text(" and ").join(each), where=where, how=how,
                    asked=_asked(entry))  # fmt: skip
    return "; ".join((text, *_more(entry, region)))


def _asked(entry: Injection) -> str:
    answers: dict[str, list[str]] = {}
    for name, word in ASKED.items():
        answers.setdefault(getattr(entry, name), []).append(word)
    told = ", ".join(
        say_text("{answer} to {questions}", answer=term(answer),
                 questions=say_text(" and ").join(map(term, words)))
        for answer, words in answers.items()
    )  # fmt: skip
    return say_text("asked before: {words}", words=told)


def _more(entry: Injection, region: Region) -> Iterator[str]:
    if entry.despite:
        yield say_text("given all the same because {words}", words=entry.despite)
    if entry.flags:
        labels = {rule.id: rule.label for rule in flag_book_of(region).flags}
        named = ", ".join(labels.get(name, name) for name in entry.flags)
        yield f"acknowledged by name, though raised: {named}"
    if entry.response:
        yield _response(entry.response, shown_protocol(region))
    if entry.note:
        yield entry.note


def _response(found: InjectionResponse, protocol: Protocol) -> str:
    text = say_text("after {minutes} minutes {relief} of the pain gone",
                    minutes=float(found.after_minutes), relief=term(found.relief))  # fmt: skip
    if found.movement is None or found.degrees_before is None or found.degrees_after is None:
        return text
    return text + say_text(
        ", {movement} {before} before and {after} after",
        movement=protocol.item(found.movement).label,
        before=say_degrees(found.degrees_before), after=say_degrees(found.degrees_after),
    )  # fmt: skip
