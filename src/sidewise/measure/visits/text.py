"""A follow-up as lines for the terminal and as plain data for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from datetime import date
from typing import Any

from sidewise.measure.visits.results import Followed, FollowUp

FORMAT = "sidewise-follow/1"
BASIS = (
    "Supports a licensed clinician and does not diagnose; follow local protocols. A change or "
    "difference is real when error explains it in under 5 of 100 unchanged patients."
)


def follow_document(found: FollowUp) -> dict[str, Any]:
    """The whole result as data that JSON can hold; dates as YYYY-MM-DD, visits from 0."""
    plain = _plain(asdict(found))
    assert isinstance(plain, dict)
    for followed in plain["followed"]:
        # For the axis of a drawing alone: the readings carry their names already.
        del followed["ladder"]
    return {"format": FORMAT, "basis": BASIS, **plain}


def follow_lines(found: FollowUp) -> Iterator[str]:
    """The result for a reader: the sentence, the course of each measure, the sides, cautions."""
    yield found.sentence
    yield from found.doubts
    yield ""
    for followed in found.followed:
        yield f"{_sign(followed.overall.real)} {followed.sentence}"
        yield from _steps(followed)
    for scale in found.scales:
        yield f"{_sign(scale.real)} {scale.sentence}"
    if found.differences:
        yield ""
        yield "Sides at the last visit:"
    for difference in found.differences:
        sign = "[not real]" if difference.real is False else _sign(difference.real)
        yield f"{sign} {difference.sentence}"
    yield from _by_chance(found)
    yield from _once(found)
    yield from _cautions(found)
    yield ""
    yield BASIS


def _by_chance(found: FollowUp) -> Iterator[str]:
    judged = [f.overall.real for f in found.followed] + [s.real for s in found.scales]
    count = sum(real is not None for real in judged)
    if count > 4:
        yield ""
        yield (
            f"{count} measures were judged: about {count / 20:.1f} would pass as really changed by "
            "chance alone. One alone out of many deserves a second reading."
        )


def _sign(real: bool | None) -> str:
    return {True: "[real]", False: "[within error]", None: "[not judged]"}[real]


def _steps(followed: Followed) -> Iterator[str]:
    if len(followed.readings) < 3:
        return
    numbers = ", ".join(f"{r.on.day} {r.on:%b} {r.shown}" for r in followed.readings)
    yield f"    readings: {numbers}"
    if followed.course:
        last = followed.course[-1]
        yield f"    course at the last visit: {last.level:.0f} ({last.low:.0f} to {last.high:.0f})"


def _once(found: FollowUp) -> Iterator[str]:
    if found.only_once:
        yield ""
        yield f"Measured at one visit only, so nothing can be said: {'; '.join(found.only_once)}."


def _cautions(found: FollowUp) -> Iterator[str]:
    cautions: dict[str, list[str]] = {}
    for followed in found.followed:
        for caution in followed.cautions:
            cautions.setdefault(caution, []).append(followed.label)
    for difference in found.differences:
        for caution in difference.cautions:
            cautions.setdefault(caution, []).append(difference.label)
    for scale in found.scales:
        for caution in scale.cautions:
            cautions.setdefault(caution, []).append(scale.label)
    if cautions:
        yield ""
        yield "Take care:"
    for caution, where in cautions.items():
        yield f"  {caution} ({'; '.join(dict.fromkeys(where))})"


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    return value.isoformat() if isinstance(value, date) else value
