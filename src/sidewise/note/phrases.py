"""Findings in words: each kind of value has its phrase, the same on page, note and print."""

from __future__ import annotations

from sidewise.ground.language import mark_text, say_text, term
from sidewise.kinds import Value, kind_of
from sidewise.protocol import Item
from sidewise.record import Finding, Record, is_normal

MODES = ("active", "passive", "resisted")
UNABLE = mark_text("could not be examined")
NO_LABEL = mark_text("no {label}")
"""How a fault is said that is not there."""


def value_phrase(value: Value, item: Item) -> str:
    """A value of an item in the trade's words, with its unit."""
    return kind_of(value).phrase(value, item.kind(value.kind))


def finding_phrase(finding: Finding, item: Item) -> str:
    """A finding of an item in words: the value, or why there is none; then the examiner's note."""
    if finding.value is not None:
        text = value_phrase(finding.value, item)
    elif finding.status == "not examined":
        text = say_text("not examined")
    else:
        verb = term(UNABLE if finding.status == "unable" else "withheld")
        text = f"{verb} ({term(finding.reason or '')})"
    return f"{text}; {finding.note}" if finding.note else text


def place_phrase(record: Record, item: Item, side: str, mode: str | None = None) -> str:
    """Everything recorded at one place, in words; a conflict says so; nothing is "not examined"."""
    for conflict in record.conflicts:
        if (conflict.item, conflict.side, conflict.mode) == (item.id, side, mode):
            parts = [finding_phrase(finding, item) for finding in conflict.findings]
            told = say_text(" against ").join(parts)
            return say_text("CONFLICT, counts as not examined: {values}", values=told)
    found = record.at(item.id, side, mode)
    return ", ".join(finding_phrase(f, item) for f in found) if found else say_text("not examined")


def place_is_normal(record: Record, item: Item, side: str, mode: str | None = None) -> bool:
    """Whether the place was examined and nothing but normal was found there."""
    found = record.at(item.id, side, mode)
    if not found or any(finding.status != "examined" for finding in found):
        return False
    return all(_normal(finding, item) for finding in found)


def place_is_abnormal(record: Record, item: Item, side: str, mode: str | None = None) -> bool:
    """Whether anything found there is not normal, hurt, has a remark, or is in conflict.

    A number without pain is neither: what is normal there depends on the person.
    """
    if record.disputed_at(item.id, side, mode) is not None:
        return True
    return any(_abnormal(finding, item) for finding in record.examined(item.id, side, mode))


def _abnormal(finding: Finding, item: Item) -> bool:
    kind = item.kind(finding.value.kind) if finding.value else None
    wrong = kind is not None and is_normal(finding, kind) is False
    return wrong or bool(finding.note) or bool(getattr(finding.value, "pain", None))


def normal_phrase(record: Record, item: Item, mode: str | None = None) -> tuple[str, bool]:
    """What is said of an item that is normal on every side, and whether it is a negative result.

    "contour of the deltoid" where the label names a thing, "no bruising" where it names a fault.
    """
    label = f"{item.label}, {term(mode)}" if mode else item.label
    side = "right" if item.paired else "midline"
    values = [finding.value for finding in record.at(item.id, side, mode) if finding.value]
    said = {kind_of(v).normal_said(item.kind(v.kind)) for v in values}
    if item.normal_words:
        return item.normal_words, False
    if "negative" in said:
        return label, True
    return (_no(label) if "no" in said else label), False


def _no(label: str) -> str:
    head, colon, detail = label.partition(": ")
    if colon:
        return f"{head}: {say_text(NO_LABEL, label=detail)}"
    return say_text(NO_LABEL, label=label)


def is_absence(words: str) -> bool:
    """Whether `normal_phrase` says of a fault without a heading that it is not there."""
    before, after = say_text(NO_LABEL, label="|").split("|")
    return words.startswith(before) and words.endswith(after)


def _normal(finding: Finding, item: Item) -> bool:
    kind = item.kind(finding.value.kind) if finding.value else None
    return kind is not None and is_normal(finding, kind) is True and not finding.note


def said_label(label: str) -> str:
    """The label of an item with its mode ("flexion, passive") in the language spoken."""
    head, comma, mode = label.rpartition(", ")
    known = comma and mode in MODES
    return f"{term(head)}, {term(mode)}" if known else term(label)


ON_SIDE = {"right": mark_text("right {label}"), "left": mark_text("left {label}")}


def said_side(side: str, label: str) -> str:
    """A label with the patient's own side; as it is for what has none."""
    return say_text(ON_SIDE[side], label=label) if side in ON_SIDE else label


def group_labels(labels: tuple[str, ...]) -> str:
    """Labels in a list, those with one heading ("joint: swelling") gathered under it."""
    by_head: dict[str, list[str]] = {}
    for label in labels:
        head, _, detail = label.partition(": ")
        by_head.setdefault(head, []).append(detail)
    words = []
    for head, details in by_head.items():
        known = [detail for detail in details if detail]
        words.append(f"{head} ({', '.join(known)})" if known else head)
    return "; ".join(words)
