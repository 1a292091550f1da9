"""What was said in one reading, each thing once: numbers, grades, aspects, words."""

from __future__ import annotations

from math import isfinite
from typing import Any

from lark import Token, Tree

from sidewise.kinds.common.line import Lag, Quantity
from sidewise.record.line.result import Unreadable

EXTRAS = ("NOTE", "EXAMINER", "REPEAT", "TOGETHER")
"""Said of the finding as a whole, not of its value."""


class Features:
    """Named things said, each once; Unreadable when one is said twice."""

    def __init__(self) -> None:
        self.said: dict[str, Any] = {}
        self.attached: list[tuple[str, dict[str, Any]]] = []

    def put(self, name: str, value: Any) -> None:
        """Keeps one thing said; several options are several."""
        if name == "options":
            self.said["options"] = (*self.said.get("options", ()), value)
            return
        if name in self.said:
            raise Unreadable(f"two things said of one reading ({name})")
        self.said[name] = value

    def take(self, node: Tree[Token]) -> None:
        """Reads one piece of the tree."""
        tokens = [child for child in node.children if isinstance(child, Token)]
        READERS[str(node.data)](self, tokens)

    def extras(self) -> dict[str, Any]:
        """Removes and returns what applies to the finding as a whole."""
        found = {name: self.said.pop(name) for name in EXTRAS if name in self.said}
        fields = {
            "NOTE": "note",
            "EXAMINER": "examiner",
            "REPEAT": "repeat",
            "TOGETHER": "together",
        }
        return {fields[name]: value for name, value in found.items()}


def _number(text: str) -> float:
    number = float(text.replace(",", "."))
    if not isfinite(number):
        raise Unreadable(f"{text[:20]} is not a number that can be used")
    return number


def _quantity(tokens: list[Token]) -> Quantity:
    return Quantity(_number(tokens[0]), str(tokens[1].value) if len(tokens) > 1 else None)


def _take_number(features: Features, tokens: list[Token]) -> None:
    features.put("number", _quantity(tokens))


def _range(text: str) -> tuple[float, float]:
    low, high = text.split(" ")
    return _number(low), _number(high)


def _take_range(features: Features, tokens: list[Token]) -> None:
    features.put("range", _range(tokens[0]))


def _take_grade(features: Features, tokens: list[Token]) -> None:
    features.put("grade", str(tokens[0].value))


def _take_aspect(features: Features, tokens: list[Token]) -> None:
    features.put(str(tokens[-1].value), tokens[0].type != "NO")


def _take_lag(features: Features, tokens: list[Token]) -> None:
    denied = tokens[0].type == "NO"
    rest = tokens[2 if denied else 1 :]
    if len(rest) > 1 and rest[1].value != "degrees":
        raise Unreadable("a lag is in degrees")
    features.put("lag", Lag(not denied, _number(rest[0]) if rest else None))


def _take_option(features: Features, tokens: list[Token]) -> None:
    features.put("options", str(tokens[0].value))


def _take_word(features: Features, tokens: list[Token]) -> None:
    token = tokens[-1]
    value: Any = tokens[0].type != "NO" if token.type == "FAMILIAR" else str(token.value)
    features.put(token.type, value)


def _take_denied(features: Features, _tokens: list[Token]) -> None:
    features.put("DENIED", True)


def _take_status(features: Features, tokens: list[Token]) -> None:
    features.put(tokens[0].type, str(tokens[0].value))


def _take_attached(features: Features, tokens: list[Token]) -> None:
    said: dict[str, Any] = (
        {"range": _range(tokens[1])} if tokens[1].type == "RANGE" else {"PAINLESS": "painless"}
    )
    features.attached.append((str(tokens[0].value), said))


def _take_extra(features: Features, tokens: list[Token]) -> None:
    name = tokens[0].type
    if name == "TOGETHER":
        features.put(name, True)
    elif name == "REPEAT":
        features.put(name, whole_number(_number(tokens[1])))
    elif tokens[1].type == "NUMBER":
        features.put(name, _number(tokens[1]))
    else:
        features.put(name, str(tokens[1].value))


def whole_number(number: float) -> int:
    """A whole number; Unreadable if it is not one."""
    if number != int(number):
        raise Unreadable(f"{number:g} is not a whole number")
    return int(number)


READERS = {
    "number": _take_number,
    "range": _take_range,
    "grade": _take_grade,
    "aspect": _take_aspect,
    "lag": _take_lag,
    "chosen": _take_option,
    "word": _take_word,
    "denied": _take_denied,
    "status": _take_status,
    "attached": _take_attached,
    "extra": _take_extra,
}
