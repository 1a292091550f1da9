"""Whom a note is about: the person, the complaint, what was answered, vital signs and scores."""

from __future__ import annotations

from collections.abc import Iterable

from sidewise.ground.language import (
    is_unreviewed,
    language,
    mark_text,
    say_count,
    say_date,
    say_number,
    say_text,
    term,
)
from sidewise.ground.settings import SETTING_WORDS
from sidewise.note.care import score_phrases
from sidewise.protocol import Protocol
from sidewise.reason.judging.visit_calls import visit_of
from sidewise.record import Record
from sidewise.record.statement import words_of

SEX = {"female": mark_text("woman"), "male": mark_text("man")}
HANDED = {
    "right": mark_text("right-handed"),
    "left": mark_text("left-handed"),
    "both": mark_text("both-handed"),
}
KNOWN_WORDS = {
    "dislocation": mark_text("old dislocation"),
    "tear": mark_text("tear"),
    "surgery": mark_text("surgery"),
    "replacement": mark_text("replacement"),
    "arthritis": mark_text("arthritis"),
}
ONSETS = {"sudden": mark_text("sudden onset"), "gradual": mark_text("gradual onset")}
OF_SIDE = {"right": mark_text("right {joint}"), "left": mark_text("left {joint}")}
BOTH_SIDES = {
    ("left", "right"): mark_text("left and right {joint}"),
    ("right", "left"): mark_text("right and left {joint}"),
}
ON_SIDE = {"right": mark_text("known {what} right"), "left": mark_text("known {what} left")}


def header_sentences(record: Record, protocol: Protocol) -> tuple[str, ...]:
    """Who, when, where, by whom, and why the person came; a sentence each."""
    c = record.context
    where = setting_words(c.setting)
    kind = visit_of(record, protocol)
    return (
        *([kind.heading] if kind.heading else []),
        say_text(
            "{patient}: {person}. Examined {at} by {by}, {where}.",
            patient=c.patient,
            person=person_words(record),
            at=say_date(c.examined_at),
            by=c.examiner,
            where=where,
        ),
        say_text("Complaint: {words}.", words=complaint_words(record, protocol)),
        *([f"{words}."] if (words := carried_words(record, protocol)) else []),
    )


def person_words(record: Record) -> str:
    """Age, sex and writing hand, as far as they are stated."""
    c = record.context
    parts = [
        _age(c.age),
        term(SEX.get(c.sex or "", "")),
        term(HANDED[c.dominant]) if c.dominant else say_text("handedness not stated"),
    ]
    return ", ".join(part for part in parts if part)


def sides_words(sides: Iterable[str], label: str) -> str:
    """The side or sides of a joint: "left", then its label; in full where both are."""
    found = tuple(sides)
    if len(found) == 2:
        return say_text(BOTH_SIDES[found], joint=label)
    return say_text(OF_SIDE[found[0]], joint=label)


def setting_words(setting: str | None) -> str:
    """Where a person is seen, in words."""
    return term(SETTING_WORDS[setting]) if setting else say_text("setting not stated")


def unreviewed_sentences() -> tuple[str, ...]:
    """That a note is said in a translation nobody has reviewed; nothing in English."""
    if not is_unreviewed(language()):
        return ()
    return (
        say_text("Translation not reviewed by a clinician: in doubt the English text holds. "
                 "Red flags and cautions are given in English."),
    )  # fmt: skip


def duration_words(weeks: float) -> str:
    """A duration (weeks, 0 or more) as one says it: in days where it is under two weeks."""
    days = round(weeks * 7)
    if days >= 14:
        return say_text("{weeks} weeks", weeks=weeks)
    if days == 0:
        return say_text("less than a day")
    return say_text("1 week") if days == 7 else say_count("{count} day", "{count} days", days)


def carried_words(record: Record, protocol: Protocol) -> str:
    """What was taken from an earlier visit and not asked again, and which visit it was."""
    follows = record.context.follows
    if follows is None:
        return ""
    visit = say_text("the visit of {day} ({by})", day=follows.on, by=follows.by)
    names = [_carried_name(field, protocol) for field in follows.carried]
    if not names:
        return say_text("Follows {visit}", visit=visit)
    return say_text("Follows {visit}. Carried from there, not asked again: {names}",
                    visit=visit, names=", ".join(names))  # fmt: skip


def _carried_name(field: str, protocol: Protocol) -> str:
    table, _, name = field.partition(".")
    known = protocol.history_by_id.get(name) if table == "history" else None
    return known.label if known else term(words_of(field))


def _age(age: int | None) -> str:
    # Above 89 an age can identify a person.
    if age is None:
        return say_text("age not stated")
    return "90+" if age > 89 else str(age)


def complaint_words(record: Record, protocol: Protocol) -> str:
    """Sides, onset, duration, pain and what is known of each side."""
    c = record.context
    parts = [sides_words(c.complaint, protocol.label) if c.complaint else say_text("none stated")]
    if c.duration_weeks is not None:
        parts.append(duration_words(c.duration_weeks))
    if c.onset:
        parts.append(term(ONSETS[c.onset]))
    if c.mechanism:
        parts.append(c.mechanism)
    pain = c.pain_0_10
    parts.append(say_text("pain {number}/10", number=pain) if pain is not None
                 else say_text("pain not rated"))  # fmt: skip
    for side in ("right", "left"):
        stated = getattr(c.known, side).model_dump()
        known = [term(KNOWN_WORDS[name]) for name, value in stated.items() if value]
        if known:
            parts.append(say_text(ON_SIDE[side], what=", ".join(known)))
    return "; ".join(parts)


def answer_words(record: Record, protocol: Protocol) -> str:
    """What was answered: yes, no and unsure, each with the questions; "" if nothing was asked."""
    answers: dict[str, list[str]] = {"yes": [], "no": [], "unsure": []}
    for entry in protocol.history:
        answer = record.context.answer(entry.id)
        if answer != "not asked":
            answers[answer].append(entry.label)
    return "; ".join(
        f"{term(word)}: {', '.join(labels)}" for word, labels in answers.items() if labels
    )


def vital_words(record: Record, protocol: Protocol) -> str:
    """The vital signs that were taken, with their units; "" for none."""
    known = protocol.vitals_by_id
    return ", ".join(
        f"{known[name].label} {say_number(number)} {known[name].unit}"
        for name, number in record.context.vitals.items()
    )


def history_sentences(record: Record, protocol: Protocol) -> tuple[str, ...]:
    """What was answered, then the vital signs, then the scores; a sentence each."""
    answers = answer_words(record, protocol)
    said = [f"{answers}." if answers else say_text("no answer recorded.")]
    if vitals := vital_words(record, protocol):
        said.append(say_text("vital signs: {words}.", words=vitals))
    if scores := score_phrases(record, protocol):
        said.append(say_text("scores: {words}.", words=", ".join(scores)))
    return tuple(said)
