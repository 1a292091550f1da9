"""How each kind of value is entered: buttons for a closed list, a small form for a number.

What can be touched stands with each kind of value; here it becomes text for a page. There is one
template per kind (templates/examinations/kinds/).
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, get_args

from django.utils.safestring import SafeString, mark_safe

from sidewise.ground.language import term
from sidewise.kinds import Limits, Touch, kind_of
from sidewise.kinds.angle import AngleLimits, EndFeel
from sidewise.kinds.common.numbers import Instrument
from sidewise.measure.motion.turn import Turn, gravity_turn, picture_turn
from sidewise.protocol import Item

LETTERS = 40
"""Of the buttons of a choice that fit on one line of a side."""
INSTRUMENTS: tuple[str, ...] = get_args(Instrument)
END_FEELS: tuple[str, ...] = get_args(EndFeel)


@dataclass(frozen=True, slots=True)
class Button(Touch):
    """One touch with the text that carries its value."""

    @property
    def code(self) -> SafeString:
        """The value as the text of a single-quoted attribute."""
        return attribute_json(self.value)


@dataclass(frozen=True, slots=True)
class Widget:
    """One kind of value at one place, with what is recorded there now."""

    kind: str
    limits: Limits
    value: Any = None
    buttons: tuple[Button, ...] = field(default=())
    by_phone: Turn | None = None
    """Zero and sense of the movement on this side for a phone laid along it, where it has one."""
    by_picture: Turn | None = None
    """The same for a photograph."""

    @property
    def near(self) -> tuple[Button, ...]:
        """The buttons always in sight."""
        return tuple(b for b in self.buttons if b.normal) if self._is_long else self.buttons

    @property
    def far(self) -> tuple[Button, ...]:
        """The buttons one touch away, where all of them would crowd the row."""
        return tuple(b for b in self.buttons if not b.normal) if self._is_long else ()

    @property
    def _is_long(self) -> bool:
        letters = sum(len(button.label) + 4 for button in self.buttons)
        return kind_of(self.limits).bedside.folds and letters > LETTERS

    @property
    def template(self) -> str:
        """The one template of this kind."""
        return f"examinations/kinds/{self.kind}.html"


def attribute_json(data: Any) -> SafeString:
    """JSON that may stand between single quotes: shorter and easier to read than escaped quotes."""
    text = json.dumps(data, separators=(",", ":"), ensure_ascii=False)
    for letter, code in (("&", "&amp;"), ("'", "&#39;"), ("<", "&lt;"), (">", "&gt;")):
        text = text.replace(letter, code)
    return mark_safe(text)  # Escaped just above.


def is_measured(item: Item) -> bool:
    """Whether the item is a measurement, which someone must look at singly."""
    return kind_of(item.offered[0]).bedside.measured


def is_alone(item: Item) -> bool:
    """Whether the item, by what it is, is never recorded with others by one touch.

    Not what only the patient can answer, nor a measurement, nor a movement with an active and a
    passive reading. One of which only "full by eye" is said (the neck) is a look like any other.
    """
    by_eye = item.offered[0].kind == "normal_by_eye" and not item.modes
    return item.alone or (is_measured(item) and not by_eye)


@lru_cache(maxsize=2000)
def normal_value(item: Item) -> dict[str, Any] | None:
    """What one touch on "normal" records, as plain data; None where normal is a number."""
    for limits in item.offered:
        found = kind_of(limits).bedside.normal(limits)
        if found is not None:
            return {"kind": limits.kind, **found}
    return None


def normal_word(item: Item) -> str:
    """What one touch on normal writes, in the words of its own button ("absent", "power 5")."""
    for limits in item.offered:
        bedside = kind_of(limits).bedside
        if bedside.normal(limits) is not None:
            labels = (touch.label for touch in bedside.touches(limits, {}) if touch.normal)
            return term(bedside.listed or next(labels, bedside.word))
    return ""


def shared_values(item: Item) -> Iterator[tuple[str, dict[str, Any]]]:
    """Values that both sides often share: read on each side, recorded by one touch."""
    for limits in item.offered:
        for label, value in kind_of(limits).bedside.shared(limits):
            yield term(label), {"kind": limits.kind, **value}


def widget(limits: Limits, value: Any, side: str = "midline") -> Widget:
    """The way to enter one kind of value at a side, with `value` (or None) as it stands."""
    now = value.model_dump(mode="json", by_alias=True, exclude_none=True) if value else {}
    buttons = tuple(_button(touch) for touch in kind_of(limits).bedside.touches(limits, now))
    phone, picture = _turns(limits, side)
    return Widget(limits.kind, limits, value, buttons, phone, picture)


@lru_cache(maxsize=500)
def _turns(limits: Limits, side: str) -> tuple[Turn | None, Turn | None]:
    lines = limits.sightlines if isinstance(limits, AngleLimits) else None
    if lines is None or not isinstance(limits, AngleLimits):
        return None, None
    low, high = limits.low, limits.high
    return gravity_turn(lines, side, low, high), picture_turn(lines, side, low, high)


def _button(touch: Touch) -> Button:
    said = term(touch.said)
    return Button(term(touch.label), touch.value, said, touch.pressed, touch.normal)
