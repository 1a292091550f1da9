"""Writes a finding as one entry of a line, in words that read back as the same finding."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

from sidewise.protocol import Item, Protocol
from sidewise.protocol.kinds import ASPECTS
from sidewise.record.line.words import load_words
from sidewise.record.model import Finding


def write_line(finding: Finding, protocol: Protocol) -> str:
    """The finding as an entry of a line: name, side, mode, what was found, and what goes with it.

    `read_line` gives the same finding back; a choice of one from a list of several comes back as
    that one word.
    """
    item = protocol.item(finding.item)
    name = load_words(protocol.region).names.get(item.id, item.id.replace("_", " "))
    said = [name, *_marks(finding), *_found(finding, item), *_extras(finding)]
    if finding.reason is not None and finding.status != "examined":
        said.append(_quoted(finding.reason))
    return " ".join(said)


def _marks(finding: Finding) -> Iterator[str]:
    if finding.side != "midline":
        yield finding.side
    if finding.mode:
        yield finding.mode


def _found(finding: Finding, item: Item) -> Iterator[str]:
    if finding.value is None:
        yield finding.status
        return
    yield from WRITERS[finding.value.kind](finding.value, item)


def _extras(finding: Finding) -> Iterator[str]:
    if finding.repeat != 1:
        yield f"reading {finding.repeat}"
    if finding.examiner is not None:
        yield f"examiner {_quoted(finding.examiner)}"
    if finding.note is not None:
        yield f"note {_quoted(finding.note)}"
    if finding.together:
        yield "together"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)


def number_said(number: float) -> str:
    """A number that reads back exactly, without a needless ".0"."""
    return str(int(number)) if number == int(number) and abs(number) < 1e15 else repr(number)


def _pain(pain: bool | None) -> Iterator[str]:
    if pain is not None:
        yield "pain" if pain else "no pain"


def _said(word: str, text: str | None) -> Iterator[str]:
    if text is not None:
        yield f"{word} {_quoted(text)}"


def _sign(value: Any, _item: Item) -> Iterator[str]:
    yield value.grade
    yield from _said("at", value.place)


def _eye(_value: Any, _item: Item) -> Iterator[str]:
    yield "normal by eye"


def _tenderness(value: Any, _item: Item) -> Iterator[str]:
    yield str(value.grade)
    if value.familiar is not None:
        yield "familiar" if value.familiar else "no familiar"


def _angle(value: Any, _item: Item) -> Iterator[str]:
    yield number_said(value.degrees)
    yield from _pain(value.pain)
    if value.end_feel:
        yield "end not reached" if value.end_feel == "not reached" else value.end_feel
    yield from _instrument(value)
    yield from _said("position", value.position)
    if value.sd is not None:
        yield f"sd {number_said(value.sd)}"


def _instrument(value: Any) -> Iterator[str]:
    if value.instrument:
        yield f"by {value.instrument}"


def _arc(value: Any, _item: Item) -> Iterator[str]:
    if value.painless:
        yield "painless"
    else:
        yield f"{number_said(value.start)} to {number_said(value.end)}"


def _level(value: Any, _item: Item) -> Iterator[str]:
    yield value.level
    yield from _pain(value.pain)


def _length(value: Any, _item: Item) -> Iterator[str]:
    yield f"{number_said(value.cm)} cm"


def _seconds(value: Any, _item: Item) -> Iterator[str]:
    yield "none" if value.none else f"{number_said(value.seconds)} s"


def _count(value: Any, _item: Item) -> Iterator[str]:
    yield str(value.count)


def _mrc(value: Any, _item: Item) -> Iterator[str]:
    yield value.grade
    yield from _limited(value)


def _force(value: Any, _item: Item) -> Iterator[str]:
    yield f"{number_said(value.newtons)} N"
    yield from _limited(value)
    yield from _instrument(value)


def _limited(value: Any) -> Iterator[str]:
    if value.limited_by_pain:
        yield "limited by pain"


def _result(value: Any, _item: Item) -> Iterator[str]:
    yield value.result
    for aspect in ASPECTS:
        state = getattr(value, aspect)
        if aspect == "lag":
            yield from _lag(value)
        elif state is not None:
            yield aspect if state else f"no {aspect}"
    yield from _said("at", value.where)


def _lag(value: Any) -> Iterator[str]:
    degrees = None if value.lag_degrees is None else number_said(value.lag_degrees)
    if value.lag is not None:
        yield ("lag" if value.lag else "no lag") + (f" {degrees}" if degrees else "")
    elif degrees:
        yield f"{degrees} degrees"


def _choice(value: Any, _item: Item) -> Iterator[str]:
    yield " and ".join(value.chosen)


def _place(value: Any, _item: Item) -> Iterator[str]:
    yield f"place {_quoted(value.what)}"
    if value.view:
        yield f"view {value.view}"
    for name in ("x", "y"):
        number = getattr(value, name)
        if number is not None:
            yield f"{name} {number_said(number)}"
    yield from _said("structure", value.structure)


def _sensation(value: Any, _item: Item) -> Iterator[str]:
    yield value.sensation
    if value.to:
        yield value.to


def _word(name: str) -> Callable[[Any, Item], Iterator[str]]:
    """A kind that is one word of its own."""

    def write(value: Any, _item: Item) -> Iterator[str]:
        yield getattr(value, name)

    return write


def _vital(value: Any, _item: Item) -> Iterator[str]:
    yield number_said(value.number)


def _text(value: Any, _item: Item) -> Iterator[str]:
    yield _quoted(value.text)


WRITERS: dict[str, Callable[[Any, Item], Iterator[str]]] = {
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
    "reflex": _word("reflex"),
    "sensation": _sensation,
    "pulse": _word("pulse"),
    "vital": _vital,
    "text": _text,
}
