"""The examiner's own words."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from sidewise.kinds.common.kind import Kind, Limits, TouchEntry, Value, no_complaint
from sidewise.kinds.common.line import Options, Said, Shorthand, fixed_set, one_meaning, quoted_text
from sidewise.kinds.common.touches import no_normal, no_touches


class TextLimits(Limits):
    """Words of the examiner's own."""

    kind: Literal["text"] = "text"


class TextValue(Value):
    """The examiner's own words."""

    kind: Literal["text"]
    text: str = Field(min_length=1, max_length=2000)


def _read(said: Said, _limits: TextLimits) -> Options | None:
    return one_meaning("text", text=said["STRING"]) if "STRING" in said else None


def _write(value: TextValue, _limits: TextLimits) -> Iterator[str]:
    yield quoted_text(value.text)


KIND = Kind(
    limits=TextLimits,
    value=TextValue,
    check=no_complaint,
    is_normal=lambda _value, _limits: None,
    phrase=lambda value, _limits: value.text,
    line=Shorthand(said=fixed_set("STRING"), read=_read, write=_write),
    bedside=TouchEntry(touches=no_touches, normal=no_normal, read_off=True),
    criteria=(),
    field_words={"text": "the words"},
)
