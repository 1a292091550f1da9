"""From what was said to a value of one kind: surely, as a question, or not at all.

Each reader of a kind gets what was said and the item's limits. It returns the values that the
words may mean, with a label each: none (the words are not of this kind), one and sure, or some to
be asked about. Nothing is filled in that was not said.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from sidewise.protocol import Item
from sidewise.protocol.kinds import ASPECTS
from sidewise.record.line.features import Lag, Quantity
from sidewise.record.line.words import FIXED, SEEN_OR_NOT
from sidewise.record.values import MRC_GRADES

Said = dict[str, Any]
HARDLY_TENDER = ("1 says so", "2 winces", "3 withdraws")


@dataclass(frozen=True, slots=True)
class Meant:
    """A value the words may mean, as plain data, and how it is put in a question."""

    value: dict[str, Any]
    label: str = ""


@dataclass(frozen=True, slots=True)
class Options:
    """What the words may mean; `ask` says what is not clear when it has to be asked."""

    meant: tuple[Meant, ...]
    ask: str = ""


def values_of(item: Item, said: Said) -> list[Options]:
    """For each kind of value the item takes, what the words may mean; kinds they fit only."""
    found = []
    for kind in item.kinds:
        if not set(said) <= ALLOWED[kind.kind]:
            continue
        options = READERS[kind.kind](said, kind)
        if options is not None:
            found.append(options)
    return found


def _sure(kind: str, **value: Any) -> Options:
    stated = {name: given for name, given in value.items() if given is not None}
    return Options((Meant({"kind": kind, **stated}),))


def _one(said: Said, among: tuple[str, ...]) -> str | None:
    options = said.get("options", ())
    return options[0] if len(options) == 1 and options[0] in among else None


def _sign(said: Said, kind: Any) -> Options | None:
    options = list(said.get("options", ()))
    grades = [word for word in options if word in kind.grades]
    places = [word for word in options if word not in kind.grades]
    if "RESULT" in said and kind.grades == SEEN_OR_NOT and not grades:
        grades = {"positive": ["present"], "negative": ["absent"]}.get(said["RESULT"], [])
    place = _place_said(said, places, kind.places)
    if len(grades) != 1 or place is False:
        return None
    return _sure("sign", grade=grades[0], place=place)


def _place_said(said: Said, words: list[str], known: tuple[str, ...]) -> Any:
    """The place said, None if none was, False if it does not fit."""
    if "AT" in said:
        return False if words else said["AT"]
    if not words:
        return None
    return words[0] if len(words) == 1 and words[0] in known else False


def _eye(said: Said, _kind: Any) -> Options | None:
    return _sure("normal_by_eye") if said else None


def _tenderness(said: Said, _kind: Any) -> Options | None:
    familiar, word = said.get("FAMILIAR"), said.get("TENDER")
    number = said.get("number")
    if number is not None:
        grade = _plain(number, None)
        if grade not in (0, 1, 2, 3) or word == "not tender" or (word and not grade):
            return None
        return _sure("tenderness", grade=int(grade), familiar=familiar)
    if word == "not tender":
        return _sure("tenderness", grade=0, familiar=familiar)
    if word != "tender":
        return None
    meant = [
        Meant({"kind": "tenderness", "grade": n + 1}
              | ({} if familiar is None else {"familiar": familiar}), label)
        for n, label in enumerate(HARDLY_TENDER)
    ]  # fmt: skip
    return Options(tuple(meant), "how tender")


def _plain(quantity: Quantity | None, *units: str | None) -> float | None:
    """The number, if it was said with one of these units (None: without any)."""
    if quantity is None or quantity.unit not in units:
        return None
    return quantity.number


def _angle(said: Said, _kind: Any) -> Options | None:
    degrees = _plain(said.get("number"), None, "degrees")
    if degrees is None:
        return None
    return _sure(
        "angle", degrees=degrees, pain=said.get("pain"), end_feel=said.get("FEEL"),
        instrument=said.get("INSTRUMENT"), position=said.get("POSITION"), sd=said.get("SD"),
    )  # fmt: skip


def _arc(said: Said, _kind: Any) -> Options | None:
    if len(said) != 1:
        return None
    if "PAINLESS" in said:
        return _sure("arc", painless=True)
    return Options((Meant({"kind": "arc", "from": said["range"][0], "to": said["range"][1]}),))


def _level(said: Said, _kind: Any) -> Options | None:
    level = _one(said, FIXED["level"])
    return _sure("level", level=level, pain=said.get("pain")) if level else None


def _length(said: Said, _kind: Any) -> Options | None:
    return _measured("length", said, "cm", "cm", {"cm": 1, "mm": 10})


def _seconds(said: Said, _kind: Any) -> Options | None:
    if "NONE" in said:
        return _sure("seconds", none=True) if len(said) == 1 else None
    return _measured("seconds", said, "seconds", "seconds", {"s": 1})


def _measured(
    kind: str, said: Said, field: str, word: str, parts: dict[str, int]
) -> Options | None:
    """A number with one of these units (so many parts of the field's unit); asked for without."""
    quantity: Quantity | None = said.get("number")
    if quantity is None or quantity.unit not in (None, *parts):
        return None
    if quantity.unit is not None:
        return _sure(kind, **{field: quantity.number / parts[quantity.unit]})
    bare = {"kind": kind, field: quantity.number}
    return Options((Meant(bare, f"{quantity.number:g} {word}"),), "which unit")


def _count(said: Said, _kind: Any) -> Options | None:
    number = _plain(said.get("number"), None)
    if number is None or number != int(number):
        return None
    return _sure("count", count=int(number))


def _mrc(said: Said, _kind: Any) -> Options | None:
    number = _plain(said.get("number"), None)
    grade = said.get("grade") or (f"{number:g}" if number is not None else None)
    if grade not in MRC_GRADES or ("grade" in said and "number" in said):
        return None
    return _sure("mrc", grade=grade, limited_by_pain=said.get("pain", False))


def _force(said: Said, _kind: Any) -> Options | None:
    newtons = _plain(said.get("number"), "N")
    if newtons is None:
        return None
    # With what it was read is not taken for granted.
    value = {"kind": "force", "newtons": newtons, "instrument": said.get("INSTRUMENT"),
             "limited_by_pain": said.get("pain", False)}  # fmt: skip
    return Options((Meant(value),))


def _result(said: Said, kind: Any) -> Options | None:
    where = _place_said(said, list(said.get("options", ())), kind.places)
    lag = _lag(said, kind)
    if where is False or lag is False:
        return None
    aspects = {name: said[name] for name in ASPECTS if name in said and name != "lag"}
    value = {"kind": "result", **aspects, **lag} | ({"where": where} if where else {})
    if "RESULT" in said:
        return Options((Meant({**value, "result": said["RESULT"]}),))
    if "lag_degrees" in lag:
        return _by_degrees(value)
    if not value.keys() - {"kind"}:
        return None
    return _either(value, "positive", "equivocal")


def _lag(said: Said, kind: Any) -> Any:
    """What was said of a lag, as fields; False if it does not fit."""
    lag: Lag | None = said.get("lag")
    degrees = said.get("number")
    if lag is not None and degrees is not None:
        return False
    if lag is not None:
        known = {} if lag.degrees is None else {"lag_degrees": lag.degrees}
        return {"lag": lag.there, **known}
    if degrees is None:
        return {}
    number = _plain(degrees, None, "degrees")
    return {"lag_degrees": number} if "lag" in kind.aspects and number is not None else False


def _by_degrees(value: dict[str, Any]) -> Options:
    """A lag sign with its degrees alone: some degrees are a positive sign, none a negative."""
    if value["lag_degrees"] > 0 and value.get("lag") is not False:
        return Options((Meant({**value, "lag": True, "result": "positive"}),))
    if value["lag_degrees"] == 0 and not value.get("lag"):
        return Options((Meant({**value, "result": "negative"}),))
    return _either(value, "positive", "negative")


def _either(value: dict[str, Any], one: str, other: str) -> Options:
    meant = [Meant({**value, "result": word}, word) for word in (one, other)]
    return Options(tuple(meant), f"{one} or {other}")


def _choice(said: Said, kind: Any) -> Options | None:
    words = said.get("options", ())
    if not words or not set(words) <= set(kind.options):
        return None
    return _sure("choice", choice=words[0] if len(words) == 1 else words)


def _place(said: Said, _kind: Any) -> Options | None:
    if "PLACE" not in said:
        return None
    return _sure("place", what=said["PLACE"], view=said.get("VIEW"), x=said.get("X"),
                 y=said.get("Y"), structure=said.get("STRUCTURE"))  # fmt: skip


def _fixed(name: str) -> Callable[[Said, Any], Options | None]:
    def read(said: Said, _kind: Any) -> Options | None:
        word = _one(said, FIXED[name])
        if word is None:
            return None
        more = {"to": said["SENSE"]} if "SENSE" in said else {}
        return _sure(name, **{name: word}, **more)

    return read


def _vital(said: Said, kind: Any) -> Options | None:
    number = _plain(said.get("number"), None, kind.unit)
    return None if number is None else _sure("vital", number=number)


def _text(said: Said, _kind: Any) -> Options | None:
    return _sure("text", text=said["STRING"]) if "STRING" in said else None


ALLOWED: dict[str, frozenset[str]] = {
    "sign": frozenset(("options", "RESULT", "AT")),
    "normal_by_eye": frozenset(("EYE",)),
    "tenderness": frozenset(("number", "TENDER", "FAMILIAR")),
    "angle": frozenset(("number", "pain", "FEEL", "INSTRUMENT", "POSITION", "SD")),
    "arc": frozenset(("range", "PAINLESS")),
    "level": frozenset(("options", "pain")),
    "length": frozenset(("number",)),
    "seconds": frozenset(("number", "NONE")),
    "count": frozenset(("number",)),
    "mrc": frozenset(("number", "grade", "pain")),
    "force": frozenset(("number", "pain", "INSTRUMENT")),
    "result": frozenset(("RESULT", "AT", "options", "number", *ASPECTS)),
    "choice": frozenset(("options",)),
    "place": frozenset(("PLACE", "VIEW", "X", "Y", "STRUCTURE")),
    "reflex": frozenset(("options",)),
    "sensation": frozenset(("options", "SENSE")),
    "pulse": frozenset(("options",)),
    "vital": frozenset(("number",)),
    "text": frozenset(("STRING",)),
}

READERS: dict[str, Callable[[Said, Any], Options | None]] = {
    "sign": _sign,
    "normal_by_eye": _eye,
    "tenderness": _tenderness,
    "angle": _angle,
    "arc": _arc,
    "level": _level,
    "length": _length,
    "seconds": _seconds,
    "count": _count,
    "mrc": _mrc,
    "force": _force,
    "result": _result,
    "choice": _choice,
    "place": _place,
    "reflex": _fixed("reflex"),
    "sensation": _fixed("sensation"),
    "pulse": _fixed("pulse"),
    "vital": _vital,
    "text": _text,
}
