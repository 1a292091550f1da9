"""A joint angle, how it was read, and what stopped the movement."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.errors import UserError
from sidewise.ground.language import say_degrees, say_text, term
from sidewise.kinds.common.kind import Kind, Limits, Measure, TouchEntry, Value
from sidewise.kinds.common.line import (
    Options,
    Said,
    Shorthand,
    exact_number,
    fixed_names,
    fixed_set,
    instrument_words,
    one_meaning,
    pain_words,
    plain_number,
    word_with_text,
)
from sidewise.kinds.common.numbers import Degrees, Instrument, range_error
from sidewise.kinds.common.sightlines import Sightlines
from sidewise.kinds.common.touches import no_normal, no_touches

EndFeel = Literal["firm", "soft", "hard", "springy", "empty", "spasm", "not reached"]


class AngleLimits(Limits):
    """A joint angle in degrees, within what the joint can do at all."""

    kind: Literal["angle"] = "angle"
    low: float = 0
    high: float = 180
    sightlines: Sightlines | None = None
    """How a phone or a photograph reads it; without them it is read by hand."""


class AngleValue(Value):
    """A joint angle in degrees, how it was read, and what stopped it."""

    kind: Literal["angle"]
    degrees: Degrees
    pain: bool | None = None
    end_feel: EndFeel | None = None
    instrument: Instrument | None = None
    position: str | None = None
    sd: float | None = Field(default=None, ge=0, le=90)


def _check(value: AngleValue, limits: AngleLimits) -> UserError | None:
    return range_error("degrees", value.degrees, limits.low, limits.high, "degrees")


def _phrase(value: AngleValue, _limits: AngleLimits) -> str:
    details = list(_details(value))
    return say_degrees(value.degrees) + (f" ({', '.join(details)})" if details else "")


def _details(value: AngleValue) -> Iterator[str]:
    if value.pain is not None:
        yield say_text("painful") if value.pain else say_text("painless")
    if value.end_feel:
        reached = value.end_feel != "not reached"
        feel = term(value.end_feel)
        yield say_text("{feel} end feel", feel=feel) if reached else say_text("end not reached")
    if value.instrument:
        by_eye = value.instrument == "eye"
        yield say_text("by eye") if by_eye else term(value.instrument)


def _read(said: Said, _limits: AngleLimits) -> Options | None:
    degrees = plain_number(said.get("number"), None, "degrees")
    if degrees is None:
        return None
    return one_meaning(
        "angle", degrees=degrees, pain=said.get("pain"), end_feel=said.get("FEEL"),
        instrument=said.get("INSTRUMENT"), position=said.get("POSITION"), sd=said.get("SD"),
    )  # fmt: skip


def _write(value: AngleValue, _limits: AngleLimits) -> Iterator[str]:
    yield exact_number(value.degrees)
    yield from pain_words(value.pain)
    if value.end_feel:
        yield "end not reached" if value.end_feel == "not reached" else value.end_feel
    yield from instrument_words(value.instrument)
    yield from word_with_text("position", value.position)
    if value.sd is not None:
        yield f"sd {exact_number(value.sd)}"


KIND = Kind(
    limits=AngleLimits,
    value=AngleValue,
    check=_check,
    is_normal=lambda _value, _limits: None,
    phrase=_phrase,
    line=Shorthand(
        names=fixed_names("ASPECT", "FEEL", "INSTRUMENT", "POSITION", "SD", "UNIT"),
        said=fixed_set("number", "pain", "FEEL", "INSTRUMENT", "POSITION", "SD"),
        read=_read,
        write=_write,
    ),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, measured=True, read_off=True),
    criteria=("angle", "side_loss", "side_gain", "active_gap", "movement_pain", "end_feel"),
    field_words={"degrees": "degrees"},
    group="range",
    # One read by eye and one read with a goniometer are two readings.
    slot=lambda value: f"range {value.instrument or 'unstated'}",
    measure=Measure(
        quantity="angle", unit="deg", words="degrees", number=lambda value, _limits: value.degrees
    ),
    brief=lambda value: say_degrees(value.degrees),
)
