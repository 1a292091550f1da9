"""The note as plain text: flags first, both sides compared, what is open, what it may mean."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from sidewise.note.body import Line, QuietRange, StageText, stage_texts, unable_lines
from sidewise.note.meaning import (
    condition_words,
    flag_lines,
    next_words,
    reasons,
    shown_and_rest,
    unlikely_words,
)
from sidewise.note.plan import plan_lines
from sidewise.protocol import Protocol, load_protocol
from sidewise.protocol.model import Stage
from sidewise.reason.result import ConditionPosterior, Interpretation
from sidewise.record import Record
from sidewise.record.model import LateralSide

WIDTH = 100
SIDES: tuple[LateralSide, ...] = ("right", "left")
SEX = {"female": "woman", "male": "man"}
SETTINGS = {
    "primary": "primary care",
    "msk_clinic": "musculoskeletal clinic",
    "orthopaedic": "orthopaedic clinic",
    "emergency": "emergency department",
}


def note_text(record: Record, result: Interpretation) -> str:
    """The whole note, wrapped to a page's width."""
    protocol = load_protocol(record.region)
    lines = [
        *header_lines(record, protocol),
        *_wrapped(flag_lines(result.red_flags)),
        *_history(record, protocol),
        *_findings(stage_texts(record, protocol, result)),
        *_open(record, protocol, result),
        *_meaning(result),
        *_wrapped(plan_lines(record, result)),
        *_wrapped([" ".join(result.cautions)]),
        signature_line(record),
    ]
    return "\n".join(lines)


def header_lines(record: Record, protocol: Protocol) -> list[str]:
    """Who, when, where, by whom, and why the person came."""
    c = record.context
    parts = [
        _age(c.age),
        SEX.get(c.sex or "", ""),
        f"{c.dominant}-handed" if c.dominant else "handedness not stated",
    ]
    person = ", ".join(part for part in parts if part)
    when = c.examined_at.strftime("%d %b %Y %H:%M").lstrip("0")
    where = SETTINGS.get(c.setting or "", "setting not stated")
    return _wrapped([
        f"{c.patient}: {person}. Examined {when} by {c.examiner}, {where}.",
        f"Complaint: {complaint_words(record, protocol)}.",
    ])  # fmt: skip


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
        parts.append(f"{c.duration_weeks:g} weeks")
    if c.onset:
        parts.append(f"{c.onset} onset")
    if c.mechanism:
        parts.append(c.mechanism)
    parts.append(f"pain {c.pain_0_10:g}/10" if c.pain_0_10 is not None else "pain not rated")
    for side in ("right", "left"):
        known = [name for name, value in getattr(c.known, side).model_dump().items() if value]
        if known:
            parts.append(f"known {', '.join(known)} {side}")
    return "; ".join(parts)


def _history(record: Record, protocol: Protocol) -> list[str]:
    answers = {"yes": [], "no": [], "unsure": []}  # type: dict[str, list[str]]
    for entry in protocol.history:
        answer = record.context.answer(entry.id)
        if answer != "not asked":
            answers[answer].append(entry.label)
    parts = [f"{word}: {', '.join(labels)}" for word, labels in answers.items() if labels]
    vitals = [
        f"{protocol.vitals_by_id[name].label} {number:g} {protocol.vitals_by_id[name].unit}"
        for name, number in record.context.vitals.items()
    ]
    if vitals:
        parts.append(", ".join(vitals))
    return _wrapped([f"HISTORY  {'; '.join(parts)}."]) if parts else ["HISTORY  none recorded."]


def _findings(stages: tuple[StageText, ...]) -> list[str]:
    lines: list[str] = []
    for text in stages:
        title = text.stage.upper()
        if text.normal and not (text.stage is Stage.PREPARE and not text.lines):
            lines += _wrapped([f"{title}  normal: {grouped(text.normal)}."])
        elif text.lines or text.ranges:
            lines.append(title)
        for line in text.lines:
            lines += _wrapped([f"  {line_words(line)}"], indent=4)
        if text.ranges:
            lines += _wrapped([f"  {range_words(text.ranges)}"], indent=4)
    return lines


def grouped(labels: tuple[str, ...]) -> str:
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


def range_words(ranges: tuple[QuietRange, ...]) -> str:
    """Painless ranges without a real difference: right | left, active and passive in one place."""
    parts = [f"{r.label} {r.right} | {r.left}" for r in ranges]
    return f"painless, no real difference (right | left): {'; '.join(parts)}"


def line_words(line: Line) -> str:
    """One compared finding in words."""
    if line.both is not None:
        text = f"{line.label}: {line.both}"
    else:
        text = f"{line.label}: right {line.right}; left {line.left}"
    return f"{text}. {line.remark}" if line.remark else text


def _open(record: Record, protocol: Protocol, result: Interpretation) -> list[str]:
    lines: list[str] = []
    open_items = [n for n in result.not_examined if n.essential]
    if open_items:
        labels = dict.fromkeys(n.label for n in open_items)
        lines.append(f"NOT EXAMINED (essential): {', '.join(labels)}.")
    if unable := list(unable_lines(record, protocol)):
        lines.append(f"COULD NOT BE EXAMINED: {'; '.join(unable)}.")
    if result.withheld:
        reasons = dict.fromkeys(n.reason for n in result.withheld)
        lines.append(f"WITHHELD: {'; '.join(reasons)} ({len(result.withheld)} items).")
    if result.conflicts:
        labels = dict.fromkeys(f"{n.side} {n.label}" for n in result.conflicts)
        lines.append(f"CONFLICT, to be settled before signing: {', '.join(labels)}.")
    return _wrapped(lines)


def _meaning(result: Interpretation) -> list[str]:
    lines: list[str] = [f"  caution: {warning}" for warning in result.warnings]
    groups: list[tuple[str, tuple[ConditionPosterior, ...]]] = [
        (side, result.sides[side].conditions) for side in SIDES if side in result.sides
    ]
    groups.append(("whole person", result.whole_person.conditions))
    every = [condition for _, conditions in groups for condition in conditions]
    if not any(condition.because for condition in every):
        # Silence of the findings must not read as reassurance.
        lines += ["  nothing examined bears on any listed condition"] if every else []
    elif not any(_is_raised(condition) for condition in every):
        lines.append("  no listed condition is made more likely by what was examined")
    else:
        lines += [line for group in groups for line in _conditions(*group)]
    if result.next:
        words = "; ".join(next_words(entry) for entry in result.next[:3])
        lines.append(f"  would tell most next: {words}")
    head = "WHAT IT MAY MEAN (probability with 95% interval, from the pre-test figure)"
    return [head, *_wrapped(lines, indent=4)] if lines else []


def _is_raised(condition: ConditionPosterior) -> bool:
    """Likely enough for a line of its own, and made no less likely by findings worth saying."""
    shown = shown_and_rest((condition,))[0]
    return bool(shown and reasons(condition) and condition.posterior >= condition.prior)


def _conditions(where: str, conditions: tuple[ConditionPosterior, ...]) -> Iterator[str]:
    # A side without complaint and without findings is one line, not seventeen.
    raised = [condition for condition in conditions if _is_raised(condition)]
    for condition in raised:
        yield f"  {where}: {condition_words(condition)}"
    others = [condition for condition in conditions if condition not in raised]
    if others:
        yield f"  {where}, not made more likely: {unlikely_words(others)}"


def signature_line(record: Record) -> str:
    """Who signed which revision, or that this is a draft; and who amended it and why."""
    if record.signed is None:
        text = f"DRAFT, revision {record.revision}, not signed."
    else:
        when = record.signed.at.strftime("%d %b %Y %H:%M").lstrip("0")
        text = f"Signed by {record.signed.by}, {when}, revision {record.revision}."
    if record.earlier:
        last = record.earlier[-1]
        text += f" Amended by {last.amended_by}: {last.reason}. Earlier revisions are kept."
    return text


def _wrapped(lines: object, indent: int = 2) -> list[str]:
    found: list[str] = []
    for line in lines:  # type: ignore[attr-defined]
        lead = len(line) - len(line.lstrip())
        found += textwrap.wrap(
            line,
            WIDTH,
            subsequent_indent=" " * max(indent, lead + 2),
            break_long_words=False,
        )
    return found
