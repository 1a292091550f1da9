"""Whom a note is about: the person, the complaint, what was answered, vital signs and scores."""

from __future__ import annotations

from sidewise.ground.settings import SETTING_WORDS
from sidewise.note.care import score_phrases
from sidewise.protocol import Protocol
from sidewise.reason.judging.visit_calls import visit_of
from sidewise.record import Record
from sidewise.record.statement import words_of

SEX = {"female": "woman", "male": "man"}
KNOWN_WORDS = {"dislocation": "old dislocation"}


def header_sentences(record: Record, protocol: Protocol) -> tuple[str, ...]:
    """Who, when, where, by whom, and why the person came; a sentence each."""
    c = record.context
    when = c.examined_at.strftime("%d %b %Y %H:%M").lstrip("0")
    where = SETTING_WORDS.get(c.setting or "", "setting not stated")
    kind = visit_of(record, protocol)
    return (
        *([kind.heading] if kind.heading else []),
        f"{c.patient}: {person_words(record)}. Examined {when} by {c.examiner}, {where}.",
        f"Complaint: {complaint_words(record, protocol)}.",
        *([f"{words}."] if (words := carried_words(record, protocol)) else []),
    )


def person_words(record: Record) -> str:
    """Age, sex and writing hand, as far as they are stated."""
    c = record.context
    parts = [
        _age(c.age),
        SEX.get(c.sex or "", ""),
        f"{c.dominant}-handed" if c.dominant else "handedness not stated",
    ]
    return ", ".join(part for part in parts if part)


def duration_words(weeks: float) -> str:
    """A duration (weeks, 0 or more) as one says it: in days where it is under two weeks."""
    days = round(weeks * 7)
    if days >= 14:
        return f"{weeks:g} weeks"
    return {0: "less than a day", 1: "1 day", 7: "1 week"}.get(days, f"{days} days")


def carried_words(record: Record, protocol: Protocol) -> str:
    """What was taken from an earlier visit and not asked again, and which visit it was."""
    follows = record.context.follows
    if follows is None:
        return ""
    visit = f"the visit of {follows.on} ({follows.by})"
    names = [_carried_name(field, protocol) for field in follows.carried]
    if not names:
        return f"Follows {visit}"
    return f"Follows {visit}. Carried from there, not asked again: {', '.join(names)}"


def _carried_name(field: str, protocol: Protocol) -> str:
    table, _, name = field.partition(".")
    known = protocol.history_by_id.get(name) if table == "history" else None
    return known.label if known else words_of(field)


def _age(age: int | None) -> str:
    # Above 89 an age can identify a person.
    if age is None:
        return "age not stated"
    return "90+" if age > 89 else str(age)


def complaint_words(record: Record, protocol: Protocol) -> str:
    """Sides, onset, duration, pain and what is known of each side."""
    c = record.context
    sides = " and ".join(c.complaint) if c.complaint else "none stated"
    parts = [f"{sides} {protocol.label}" if c.complaint else sides]
    if c.duration_weeks is not None:
        parts.append(duration_words(c.duration_weeks))
    if c.onset:
        parts.append(f"{c.onset} onset")
    if c.mechanism:
        parts.append(c.mechanism)
    parts.append(f"pain {c.pain_0_10:g}/10" if c.pain_0_10 is not None else "pain not rated")
    for side in ("right", "left"):
        stated = getattr(c.known, side).model_dump()
        known = [KNOWN_WORDS.get(name, name) for name, value in stated.items() if value]
        if known:
            parts.append(f"known {', '.join(known)} {side}")
    return "; ".join(parts)


def answer_words(record: Record, protocol: Protocol) -> str:
    """What was answered: yes, no and unsure, each with the questions; "" if nothing was asked."""
    answers: dict[str, list[str]] = {"yes": [], "no": [], "unsure": []}
    for entry in protocol.history:
        answer = record.context.answer(entry.id)
        if answer != "not asked":
            answers[answer].append(entry.label)
    return "; ".join(f"{word}: {', '.join(labels)}" for word, labels in answers.items() if labels)


def vital_words(record: Record, protocol: Protocol) -> str:
    """The vital signs that were taken, with their units; "" for none."""
    known = protocol.vitals_by_id
    return ", ".join(
        f"{known[name].label} {number:g} {known[name].unit}"
        for name, number in record.context.vitals.items()
    )


def history_sentences(record: Record, protocol: Protocol) -> tuple[str, ...]:
    """What was answered, then the vital signs, then the scores; a sentence each."""
    said = [f"{answer_words(record, protocol) or 'no answer recorded'}."]
    if vitals := vital_words(record, protocol):
        said.append(f"vital signs: {vitals}.")
    if scores := score_phrases(record, protocol):
        said.append(f"scores: {', '.join(scores)}.")
    return tuple(said)
