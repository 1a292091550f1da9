"""One finding as what an actor does: a limit kept, a wince, a word. What nobody can act is told.

Wasting, reflexes, pulses, clicks and lumps are nobody's to act: they go on cards that are handed
over when the student looks there, and not before.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sidewise.kinds import KINDS
from sidewise.practice.ways import Movement
from sidewise.protocol import Item
from sidewise.record import Finding

ACTED = ("angle", "level", "tenderness", "mrc", "result", "choice", "sensation")
WINCES = ("", "screw up your eyes a little", "wince", "wince and draw away")
SHOWN = {
    "pain": "say that this is your pain",
    "weakness": "let the arm give way",
    "lag": "let the arm fall back when it is let go",
    "apprehension": "tense up and ask them to stop: it feels as if it will slip",
    "tingling": "say that it tingles down the arm",
    "relief": "say that this eases it",
}
"""What an actor does for what goes with a positive manoeuvre."""


SHORT = 2.0
"""Standard deviations below the healthy mean from which a painless movement is short too (common
practice for a limit of normal, no source)."""


def is_ordinary(finding: Finding, item: Item, movements: Mapping[str, Movement]) -> bool:
    """Whether there is nothing to show: normal, not to be done, or a free movement without pain.

    movements: healthy ranges by item, degrees.
    """
    value: Any = finding.value
    if value is None:
        return True
    if value.kind == "level":
        return not value.pain
    if value.kind == "angle":
        known = movements.get(item.id)
        short = known is not None and value.degrees < known.mean - SHORT * known.sd
        return not (value.pain or short)
    if value.kind == "result":
        return bool(value.result == "negative")
    if value.kind in ("length", "count"):
        return not (getattr(value, "cm", 0) or getattr(value, "count", 0))
    limits = next(one for one in item.kinds if one.kind == value.kind)
    normal = KINDS[value.kind].bedside.normal(limits)
    if normal is None:
        return False
    return bool(KINDS[value.kind].value.model_validate({"kind": value.kind, **normal}) == value)


def is_acted(finding: Finding) -> bool:
    """Whether an actor can show it; what cannot be shown is handed over on a card."""
    value: Any = finding.value
    if value.kind == "result":
        return any(getattr(value, name, None) for name in SHOWN) or value.result == "positive"
    return value.kind in ACTED


def acting_words(finding: Finding) -> str:
    """What the actor does, in words."""
    value: Any = finding.value
    match value.kind:
        case "angle":
            feel = getattr(value, "end_feel", None)
            return _reach(finding, f"{value.degrees:g}°", feel, hurts=value.pain)
        case "level":
            return _reach(finding, str(value.level), None, hurts=value.pain)
        case "tenderness":
            return f"when it is pressed, {WINCES[min(value.grade, len(WINCES) - 1)]}"
        case "mrc":
            return f"hold against resistance only in part, then give way (grade {value.grade})"
        case "sensation":
            return f"say that touch is {value.sensation} here"
        case "choice":
            chosen = value.choice
            return f"when asked: {chosen if isinstance(chosen, str) else ', '.join(chosen)}"
    return "; ".join(_positive(value))


def _reach(finding: Finding, far: str, end_feel: str | None, *, hurts: bool | None) -> str:
    end = "wince at the end" if hurts else "it does not hurt"
    if finding.mode == "passive":
        stop = f", {end_feel} against the hand" if end_feel else ""
        return f"let it be moved as far as {far} and stop there{stop}; {end}"
    how = "against resistance" if finding.mode == "resisted" else "by yourself"
    return f"go {how} as far as {far}, no further; {end}"


def _positive(value: Any) -> Iterator[str]:
    told = [words for name, words in SHOWN.items() if getattr(value, name, None)]
    yield from told or ["say that this brings it on"]
    if getattr(value, "where", None):
        yield f"point to: {value.where}"
    if getattr(value, "click", None):
        yield "(the click is on the card)"
