"""Small records for tests, built by hand; every person in them is invented."""

from __future__ import annotations

from typing import Any

from sidewise.record import Context, Finding, Record

BASE: dict[str, Any] = {
    "patient": "HERON-1",
    "examined_at": "2026-03-02T09:40:00+00:00",
    "examiner": "E1",
    "setting": "primary",
    "age": 58,
    "sex": "female",
    "dominant": "right",
    "complaint": ["left"],
}


def record(*findings: Finding, **context: Any) -> Record:
    """A record of the invented HERON-1 with these findings."""
    return Record(
        id="r1",
        region="shoulder",
        context=Context.model_validate({**BASE, **context}),
        findings=findings,
    )


def found(item: str, side: str, kind: str, mode: str | None = None, **value: Any) -> Finding:
    """An examined finding."""
    data = {"item": item, "side": side, "mode": mode, "value": {"kind": kind, **value}}
    return Finding.model_validate(data)


def unable(item: str, side: str, reason: str = "too sore", mode: str | None = None) -> Finding:
    """A finding that could not be examined."""
    data = {"item": item, "side": side, "mode": mode, "status": "unable", "reason": reason}
    return Finding.model_validate(data)


def positive(item: str, side: str, **what: Any) -> Finding:
    """A positive manoeuvre."""
    return found(item, side, "result", result="positive", **what)


def negative(item: str, side: str) -> Finding:
    """A negative manoeuvre."""
    return found(item, side, "result", result="negative")


def angle(
    item: str, side: str, degrees: float, mode: str | None = "passive", **more: Any
) -> Finding:
    """A joint angle."""
    return found(item, side, "angle", mode, degrees=degrees, **more)
