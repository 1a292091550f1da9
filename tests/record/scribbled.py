"""Reads what each scribble must become (`tests/data/line/scribbles.txt`); knows no parser."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sidewise.record import Finding

FILE = Path(__file__).parents[1] / "data" / "line" / "scribbles.txt"
SIDES = {"R": "right", "L": "left", "M": "midline"}
WORDS = {"yes": True, "no": False}
FIELDS = {
    "result": "result", "mrc": "grade", "sign": "grade", "choice": "choice", "level": "level",
    "pulse": "pulse", "reflex": "reflex", "sensation": "sensation",
}  # fmt: skip
NUMBERS = {"angle": "degrees", "force": "newtons", "length": "cm", "seconds": "seconds"}


@dataclass
class Scribble:
    """A line, what it records, what must be offered where it is asked, or why it is refused."""

    line: str
    read: list[Finding] = field(default_factory=list)
    offered: list[tuple[Finding, ...]] = field(default_factory=list)
    refused: str = ""


def scribbles() -> list[Scribble]:
    """All of them, in the order of the file."""
    found: list[Scribble] = []
    for text in FILE.read_text(encoding="utf-8").splitlines():
        mark, rest = text[:1], text[2:]
        if mark == ">":
            found.append(Scribble(rest))
        elif mark == "=":
            found[-1].read.append(finding(rest))
        elif mark == "?":
            found[-1].offered.append(tuple(map(finding, rest.split(" & "))))
        elif mark == "!":
            found[-1].refused = rest
    return found


def finding(text: str) -> Finding:
    """`neer R result:positive pain=yes` as a finding."""
    item, side, *rest = shlex.split(text)
    data: dict[str, Any] = {"item": item, "side": SIDES[side]}
    if rest[0] in ("active", "passive"):
        data["mode"] = rest.pop(0)
    kind, said = rest.pop(0).split(":", 1)
    more = dict(part.split("=", 1) for part in rest)
    if kind == "status":
        return Finding.model_validate({**data, "status": said, **more})
    value = dict(_value(kind, said))
    value |= {_field(kind, name): WORDS.get(word, word) for name, word in more.items()}
    return Finding.model_validate({**data, "value": value})


def _value(kind: str, said: str) -> Iterator[tuple[str, Any]]:
    if kind == "eye":
        yield "kind", "normal_by_eye" if said == "normal" else "reduced_by_eye"
        if said != "normal":
            yield "range", said
        return
    yield "kind", "level" if kind == "lower" else kind
    if kind == "force":
        # With what it was measured was not said.
        yield "instrument", None
    if kind in NUMBERS:
        yield NUMBERS[kind], float(said)
    elif kind == "lower":
        yield "lower_by", int(said)
    elif kind == "count":
        yield "count", int(said)
    elif kind == "tenderness":
        yield "grade", int(said)
    elif kind == "arc" and said[0].isdigit():
        low, high = said.split("-")
        yield from (("from", float(low)), ("to", float(high)))
    elif kind == "arc":
        yield said, True
    else:
        yield FIELDS[kind], said


def _field(kind: str, name: str) -> str:
    if name == "feel":
        return "end_feel"
    return "limited_by_pain" if (kind, name) == ("mrc", "pain") else name
