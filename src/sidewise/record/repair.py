"""A visit of the wrong patient, or with right and left exchanged: put right, with a trace.

Nothing is overwritten. The repair is an entry of its own, with who, when and why; revisions signed
before it stay as they were signed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from sidewise.kinds import AnyValue
from sidewise.record.care import CareEntry, Injection
from sidewise.record.model import (
    OTHER,
    Context,
    Finding,
    Follows,
    KnownSides,
    LateralSide,
    Record,
)

CARE_WORDS = ("report", "detail", "place", "despite", "note")
"""Free words of what was done and planned."""
SIDE = re.compile(r"\b(left|right)\b", re.IGNORECASE)


def mirror_words(text: str) -> str:
    """The text with right for left and left for right, in the same case."""
    return SIDE.sub(lambda match: _like(match[0], OTHER[match[0].lower()]), text)


def _like(said: str, word: str) -> str:
    if said.isupper():
        return word.upper()
    return word.capitalize() if said[0].isupper() else word


def mirror_finding(finding: Finding) -> Finding:
    """The finding as it reads with the sides exchanged; the words of its note are left as typed."""
    changes: dict[str, object] = {}
    if finding.side in OTHER:
        changes["side"] = OTHER[finding.side]
    if finding.value is not None:
        changes["value"] = _mirror_value(finding.value)
    return finding.model_copy(update=changes)


def _mirror_value(value: AnyValue) -> AnyValue:
    changes: dict[str, object] = {}
    # A word of the protocol ("turning to the right", "left side") is meant; free words are not.
    for name in ("choice", "view", "structure"):
        said = getattr(value, name, None)
        if isinstance(said, str):
            changes[name] = mirror_words(said)
        elif isinstance(said, tuple):
            changes[name] = tuple(mirror_words(word) for word in said)
    across = getattr(value, "x", None)
    if across is not None and not SIDE.search(str(getattr(value, "view", ""))):
        # Front and back are seen with both sides; a side view turns into the other one instead.
        changes["x"] = 1 - across
    return value.model_copy(update=changes) if changes else value


def mirror_care(entry: CareEntry) -> CareEntry:
    """What was done, planned or shown by a test, as it reads with the sides exchanged."""
    changes = {
        name: OTHER[side]
        for name in ("side", "side_again")
        if (side := getattr(entry, name, None)) in OTHER
    }
    return entry.model_copy(update=changes)


def mirror_context(context: Context) -> Context:
    """The context with the sides exchanged: complaint and what is known, not the writing hand.

    The writing hand is told by the patient and does not turn with the examiner's view.
    """
    sides: tuple[LateralSide, ...] = tuple(sorted(OTHER[side] for side in context.complaint))
    known = KnownSides(left=context.known.right, right=context.known.left)
    changes: dict[str, object] = {"complaint": sides, "known": known}
    if context.follows is not None:
        carried = tuple(mirror_field(field) for field in context.follows.carried)
        changes["follows"] = context.follows.model_copy(update={"carried": carried})
    return context.model_copy(update=changes)


def mirror_field(field: str) -> str:
    """The field of the other side: "known.left" for "known.right"; any other is itself."""
    table, _, name = field.partition(".")
    return f"known.{OTHER[name]}" if table == "known" and name in OTHER else field


def mirror_stated(field: str, value: object) -> tuple[str, object]:
    """A statement as it reads with the sides exchanged."""
    if field == "complaint" and isinstance(value, tuple | list):
        return field, tuple(sorted(OTHER[side] for side in value))
    if field == "follows" and isinstance(value, dict):
        carried = [mirror_field(name) for name in value.get("carried", ())]
        return field, {**value, "carried": carried}
    return mirror_field(field), value


def without_carried(context: Context, follows: Follows | None) -> Context:
    """The context without what was carried from a visit of the patient that it is not of."""
    if follows is None:
        return context
    blank = Context(
        patient=context.patient, examined_at=context.examined_at, examiner=context.examiner
    )
    changes: dict[str, object] = {"follows": None}
    history, known = dict(context.history), context.known
    for field in follows.carried:
        table, _, name = field.partition(".")
        if table == "history":
            history.pop(name, None)
        elif table == "known":
            known = known.model_copy(update={name: getattr(blank.known, name)})
        else:
            changes[field] = getattr(blank, field)
    return context.model_copy(update={**changes, "history": history, "known": known})


def words_with_sides(record: Record) -> Iterator[str]:
    """Every free text that names a side: exchanging the sides leaves it as it was typed."""
    conclusion = record.conclusion
    texts = [conclusion.impression, *conclusion.plan, record.context.mechanism or ""]
    for finding in record.findings:
        texts += [finding.note or "", finding.reason or ""]
        texts += [getattr(finding.value, name, None) or "" for name in ("text", "what")]
    for entry in record.care:
        texts += [getattr(entry, name, None) or "" for name in CARE_WORDS]
    yield from dict.fromkeys(text for text in texts if SIDE.search(text))


def injected_sides(record: Record) -> tuple[str, ...]:
    """The side of each injection that was given, as recorded: to be held against the patient."""
    return tuple(entry.side for entry in record.care if isinstance(entry, Injection))
