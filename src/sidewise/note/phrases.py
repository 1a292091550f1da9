"""Findings in words: one phrase for each kind of value, the same on page, note and print."""

from __future__ import annotations

from typing import Any

from sidewise.protocol import Item
from sidewise.protocol.kinds import ASPECTS
from sidewise.record import Finding, Record, is_normal

ASPECT_WORDS = {
    "pain": "pain",
    "weakness": "weakness",
    "lag": "lag",
    "apprehension": "apprehension",
    "click": "click",
    "relief": "relief",
    "tingling": "tingling",
    "wing": "winging",
}
TENDERNESS = ("not tender", "tender (1, says so)", "tender (2, winces)", "tender (3, withdraws)")


def value_phrase(value: Any) -> str:
    """A value in the trade's words, with its unit."""
    text: str = PHRASES[value.kind](value)
    return text


def finding_phrase(finding: Finding) -> str:
    """A finding in words: the value, or why there is none; then the examiner's note."""
    if finding.status == "examined":
        text = value_phrase(finding.value)
    elif finding.status == "not examined":
        text = "not examined"
    else:
        verb = "could not be examined" if finding.status == "unable" else "withheld"
        text = f"{verb} ({finding.reason})"
    return f"{text}; {finding.note}" if finding.note else text


def place_phrase(record: Record, item: Item, side: str, mode: str | None = None) -> str:
    """Everything recorded at one place, in words; a conflict says so; nothing is "not examined"."""
    for conflict in record.conflicts:
        if (conflict.item, conflict.side, conflict.mode) == (item.id, side, mode):
            parts = [finding_phrase(finding) for finding in conflict.findings]
            return "CONFLICT, counts as not examined: " + " against ".join(parts)
    found = record.at(item.id, side, mode)
    return ", ".join(finding_phrase(f) for f in found) if found else "not examined"


def place_is_normal(record: Record, item: Item, side: str, mode: str | None = None) -> bool:
    """Whether the place was examined and nothing but normal was found there."""
    found = record.at(item.id, side, mode)
    if not found or any(finding.status != "examined" for finding in found):
        return False
    return all(_normal(finding, item) for finding in found)


def _normal(finding: Finding, item: Item) -> bool:
    kind = item.kind(finding.value.kind) if finding.value else None
    return kind is not None and is_normal(finding, kind) is True and not finding.note


def _angle(value: Any) -> str:
    parts = [f"{value.degrees:g}°"]
    if value.pain is not None:
        parts.append("painful" if value.pain else "painless")
    if value.end_feel:
        parts.append(
            f"{value.end_feel} end feel" if value.end_feel != "not reached" else "end not reached"
        )
    if value.instrument:
        parts.append("by eye" if value.instrument == "eye" else value.instrument)
    return " ".join((parts[0], f"({', '.join(parts[1:])})")) if len(parts) > 1 else parts[0]


def _result(value: Any) -> str:
    if value.result == "negative":
        return "negative"
    there = [ASPECT_WORDS[a] for a in ASPECTS if getattr(value, a)]
    if value.lag_degrees is not None:
        there = [word for word in there if word != "lag"] + [f"lag {value.lag_degrees:g}°"]
    absent = [f"no {ASPECT_WORDS[a]}" for a in ASPECTS if getattr(value, a) is False]
    where = f" ({value.where})" if value.where else ""
    details = ", ".join(there + absent)
    return f"{value.result}{where}" + (f": {details}" if details else "")


def _power(value: Any) -> str:
    pain = ", limited by pain" if value.limited_by_pain else ""
    unit = f"{value.newtons:g} N" if value.kind == "force" else f"power {value.grade}/5"
    return unit + pain


def _arc(value: Any) -> str:
    return (
        "no painful arc" if value.painless else f"painful from {value.start:g}° to {value.end:g}°"
    )


def _level(value: Any) -> str:
    return f"reaches {value.level}" + (", painful" if value.pain else "")


def _seconds(value: Any) -> str:
    return "none in the time held" if value.none else f"{value.seconds:g} s"


def _place(value: Any) -> str:
    where = value.structure or value.view
    return f"{value.what} ({where})" if where else str(value.what)


def _tender(value: Any) -> str:
    return TENDERNESS[value.grade] + (", the patient's own pain" if value.familiar else "")


PHRASES: dict[str, Any] = {
    "sign": lambda v: v.grade + (f" ({v.place})" if v.place else ""),
    "normal_by_eye": lambda _v: "full by eye",
    "tenderness": _tender,
    "angle": _angle,
    "arc": _arc,
    "level": _level,
    "length": lambda v: f"{v.cm:g} cm",
    "seconds": _seconds,
    "count": lambda v: str(v.count),
    "mrc": _power,
    "force": _power,
    "result": _result,
    "choice": lambda v: ", ".join(v.chosen),
    "place": _place,
    "reflex": lambda v: v.reflex,
    "sensation": lambda v: v.sensation + (f" to {v.to}" if v.to else ""),
    "pulse": lambda v: f"pulse {v.pulse}",
    "vital": lambda v: f"{v.number:g}",
    "text": lambda v: v.text,
}
