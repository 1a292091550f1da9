"""How each kind of value is entered: buttons for a closed list, a small form for a number.

One template per kind (templates/examinations/kinds/); the set is closed and checked below.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from django.utils.safestring import SafeString, mark_safe

from sidewise.note.phrases import ASPECT_WORDS
from sidewise.protocol import Item
from sidewise.protocol.kinds import KIND_NAMES, Kind
from sidewise.record.values import LEVELS, MRC_GRADES, EndFeel, Instrument

TENDER = (("0", "none"), ("1", "says so"), ("2", "winces"), ("3", "withdraws"))
REFLEXES = ("absent", "reduced", "normal", "brisk", "brisk with spread")
SENSATIONS = ("normal", "reduced", "absent", "heightened")
PULSES = ("normal", "weak", "absent")
NUMBERS = ("normal_by_eye", "angle", "arc", "level", "length", "seconds", "count", "force", "vital")
"""An item whose first kind is one of these is measured: never recorded with the rest of a stage."""
FEW = 10
"""A whole number up to this, or a time that is usually a few seconds, gets a button each."""
SHORT_SECONDS = 20
LETTERS = 40
"""Of the buttons of a choice that fit on one line of a side."""


@dataclass(frozen=True, slots=True)
class Button:
    """One touch: what it says, what it records, whether that is what stands recorded."""

    label: str
    value: dict[str, Any]
    said: str = ""
    pressed: bool = False
    normal: bool = False

    @property
    def code(self) -> SafeString:
        """The value as the text of a single-quoted attribute."""
        return attribute_json(self.value)


@dataclass(frozen=True, slots=True)
class Widget:
    """One kind of value at one place, with what is recorded there now."""

    kind: str
    limits: Kind
    value: Any = None
    buttons: tuple[Button, ...] = field(default=())

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
        return self.kind == "choice" and sum(len(b.label) + 4 for b in self.buttons) > LETTERS

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
    return item.kinds[0].kind in NUMBERS


@lru_cache(maxsize=2000)
def normal_value(item: Item) -> dict[str, Any] | None:
    """What one touch on "normal" records, as plain data; None where normal is a number."""
    for kind in item.kinds:
        if found := NORMALS[kind.kind](kind):
            return {"kind": kind.kind, **found}
        if kind.kind == "normal_by_eye":
            return {"kind": kind.kind}
    return None


def quick_seconds(item: Item) -> Iterator[tuple[int, dict[str, Any]]]:
    """Times so short that both sides often share one: read on each side, recorded by one touch."""
    kind = item.kind("seconds")
    if kind is not None and kind.high <= SHORT_SECONDS:  # type: ignore[union-attr]
        for number in (1, 2):
            yield number, {"kind": "seconds", "seconds": number}


NORMALS: dict[str, Callable[[Any], dict[str, Any] | None]] = {
    "sign": lambda k: {"grade": k.grades[0]},
    "normal_by_eye": lambda _k: None,
    "tenderness": lambda _k: {"grade": 0},
    "angle": lambda _k: None,
    "arc": lambda _k: {"painless": True},
    "level": lambda _k: None,
    "length": lambda _k: None,
    "seconds": lambda k: {"none": True} if k.high > SHORT_SECONDS else None,
    "count": lambda _k: None,
    "mrc": lambda _k: {"grade": "5"},
    "force": lambda _k: None,
    "result": lambda _k: {"result": "negative"},
    "choice": lambda k: _choice_normal(k),
    "place": lambda _k: None,
    "reflex": lambda _k: {"reflex": "normal"},
    "sensation": lambda _k: {"sensation": "normal"},
    "pulse": lambda _k: {"pulse": "normal"},
    "vital": lambda _k: None,
    "text": lambda _k: None,
}


def _choice_normal(kind: Any) -> dict[str, Any] | None:
    if not kind.normal:
        return None
    return {"choice": [kind.normal[0]] if kind.several else kind.normal[0]}


def widget(kind: Kind, value: Any) -> Widget:
    """The way to enter one kind of value, with `value` (or None) as it stands."""
    now = value.model_dump(mode="json", by_alias=True, exclude_none=True) if value else {}
    buttons = tuple(BUTTONS[kind.kind](kind, now))
    return Widget(kind.kind, kind, value, buttons)


def _plain(kind: str, name: str, words: Any, now: dict[str, Any], normal: str) -> Iterator[Button]:
    for word in words:
        yield Button(word, {"kind": kind, name: word}, "", now.get(name) == word, word == normal)


def _sign(kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    yield from _plain("sign", "grade", kind.grades, now, kind.grades[0])
    if kind.places and now and now["grade"] != kind.grades[0]:
        for place in kind.places:
            there = now.get("place") == place
            yield Button(place, {**now, "place": None if there else place}, "", there)


def _eye(_kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    yield Button("full", {"kind": "normal_by_eye"}, "full by eye", bool(now), True)


def _tender(_kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    for number, words in TENDER:
        grade = int(number)
        label = words if not grade else number
        said = "" if not grade else f"{number}, {words}"
        yield Button(
            label,
            {"kind": "tenderness", "grade": grade},
            said,
            now.get("grade") == grade,
            not grade,
        )
    if now.get("grade"):
        own = bool(now.get("familiar"))
        yield Button(
            "own pain", {**now, "familiar": not own}, "own pain, as the patient knows it", own
        )


def _mrc(_kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    for grade in reversed(MRC_GRADES):
        yield Button(
            grade, {"kind": "mrc", "grade": grade}, "", now.get("grade") == grade, grade == "5"
        )
    if now:
        limited = bool(now.get("limited_by_pain"))
        yield Button("limited by pain", {**now, "limited_by_pain": not limited}, "", limited)


def _result(kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    result = now.get("result")
    yield Button(
        "negative", {"kind": "result", "result": "negative"}, "", result == "negative", True
    )
    base = now if result in ("positive", "equivocal") else {"kind": "result", "result": "positive"}
    for aspect in kind.aspects:
        there = base.get(aspect) is True
        value = {**base, aspect: None if there else True}
        yield Button(
            f"+ {ASPECT_WORDS[aspect]}", value, f"+ {ASPECT_WORDS[aspect]}, positive", there
        )
    equivocal = {"kind": "result", "result": "equivocal"}
    yield Button("equivocal", equivocal, "", result == "equivocal")
    if result in ("positive", "equivocal"):
        yield from _stated(kind, now)


def _stated(kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    # What was not stated was not examined, so "no" has to be said.
    others = len(kind.aspects) > 1
    for aspect in kind.aspects if others else ():
        if now.get(aspect) is not True:
            absent = now.get(aspect) is False
            value = {**now, aspect: None if absent else False}
            yield Button(f"no {ASPECT_WORDS[aspect]}", value, "", absent)
    for place in kind.places:
        there = now.get("where") == place
        yield Button(place, {**now, "where": None if there else place}, "", there)


def _choice(kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    chosen = now.get("choice", ())
    chosen = (chosen,) if isinstance(chosen, str) else tuple(chosen)
    for option in kind.options:
        there = option in chosen
        value: Any = _toggled(kind, chosen, option) if kind.several else option
        if value:
            yield Button(
                option, {"kind": "choice", "choice": value}, "", there, option in kind.normal
            )


def _toggled(kind: Any, chosen: tuple[str, ...], option: str) -> list[str]:
    if option in kind.normal:
        return [option]
    rest = [word for word in chosen if word not in kind.normal and word != option]
    # The last one cannot be taken away by touching it again: undo does that.
    return rest if option in chosen and rest else [*rest, option]


def _seconds(kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    if kind.high > SHORT_SECONDS:
        yield Button(f"none in {kind.high:g} s", {"kind": "seconds", "none": True}, "",
                     bool(now.get("none")), True)  # fmt: skip
        return
    for number in range(1, 6):
        there = now.get("seconds") == number
        yield Button(f"{number} s", {"kind": "seconds", "seconds": number}, "", there)


def _count(kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    for number in range(kind.high + 1) if kind.high <= FEW else ():
        there = now.get("count") == number
        yield Button(str(number), {"kind": "count", "count": number}, "", there, number == 0)


def _arc(_kind: Any, now: dict[str, Any]) -> Iterator[Button]:
    painless = bool(now.get("painless"))
    yield Button("no painful arc", {"kind": "arc", "painless": True}, "", painless, True)


def _none(_kind: Any, _now: dict[str, Any]) -> Iterator[Button]:
    return iter(())


BUTTONS: dict[str, Callable[[Any, dict[str, Any]], Iterator[Button]]] = {
    "sign": _sign,
    "normal_by_eye": _eye,
    "tenderness": _tender,
    "angle": _none,
    "arc": _arc,
    "level": _none,
    "length": _none,
    "seconds": _seconds,
    "count": _count,
    "mrc": _mrc,
    "force": _none,
    "result": _result,
    "choice": _choice,
    "place": _none,
    "reflex": lambda _k, now: _plain("reflex", "reflex", REFLEXES, now, "normal"),
    "sensation": lambda _k, now: _plain("sensation", "sensation", SENSATIONS, now, "normal"),
    "pulse": lambda _k, now: _plain("pulse", "pulse", PULSES, now, "normal"),
    "vital": _none,
    "text": _none,
}
# A new kind of value cannot be left without a way to enter it.
assert set(BUTTONS) == set(NORMALS) == set(KIND_NAMES)

INSTRUMENTS: tuple[str, ...] = Instrument.__args__  # type: ignore[attr-defined]
END_FEELS: tuple[str, ...] = EndFeel.__args__  # type: ignore[attr-defined]
LEVEL_LADDER = tuple(reversed(LEVELS))
