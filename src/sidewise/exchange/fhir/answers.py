"""The context, and what was done and planned, as items of a QuestionnaireResponse, and back.

A path in the record is a linkId (`history/fever`, `known/left/tear`, `care/0/name`); a list of
plain values has several answers and a linkId that ends in `[]`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from sidewise.protocol import Protocol

LIST = "[]"


def answer_items(data: Mapping[str, Any], protocol: Protocol) -> list[dict[str, Any]]:
    """One item for each plain value in nested data."""
    return [
        {"linkId": path, "text": _words(path, protocol), "answer": [_answer(one) for one in values]}
        for path, values in _leaves(data, "")
    ]


def _leaves(data: Any, path: str) -> Iterator[tuple[str, list[Any]]]:
    if isinstance(data, Mapping):
        for name, content in data.items():
            yield from _leaves(content, f"{path}/{name}" if path else str(name))
    elif isinstance(data, list) and data and not isinstance(data[0], Mapping | list):
        yield path + LIST, data
    elif isinstance(data, list):
        for number, content in enumerate(data):
            yield from _leaves(content, f"{path}/{number}")
    elif data is not None:
        yield path, [data]


def _answer(value: Any) -> dict[str, Any]:
    if isinstance(value, bool):
        return {"valueBoolean": value}
    if isinstance(value, int):
        return {"valueInteger": value}
    if isinstance(value, float):
        return {"valueDecimal": value}
    return {"valueString": str(value)}


def _words(path: str, protocol: Protocol) -> str:
    group, _, name = path.partition("/")
    if group == "history" and name in protocol.history_by_id:
        return protocol.history_by_id[name].label
    if group == "vitals" and name in protocol.vitals_by_id:
        sign = protocol.vitals_by_id[name]
        return f"{sign.label} ({sign.unit})"
    if group == "scales" and name in protocol.scales_by_id:
        return protocol.scales_by_id[name].label
    return path.removesuffix(LIST).replace("_", " ").replace("/", ", ")


def data_from_items(items: Any) -> dict[str, Any]:
    """The nested data that items stand for."""
    root: dict[str, Any] = {}
    for item in items or ():
        path = str(item.get("linkId", ""))
        values = [_value(one) for one in item.get("answer", ())]
        if not values:
            continue
        _set(root, path.removesuffix(LIST), values if path.endswith(LIST) else values[0])
    return {name: _lists(content) for name, content in root.items()}


def _value(answer: Mapping[str, Any]) -> Any:
    return next((v for name, v in answer.items() if name.startswith("value")), None)


def _set(root: dict[str, Any], path: str, value: Any) -> None:
    *parents, last = path.split("/")
    for parent in parents:
        inner = root.setdefault(parent, {})
        if not isinstance(inner, dict):  # A path that goes on below a plain value: not ours.
            return
        root = inner
    root[last] = value


def _lists(data: Any) -> Any:
    """Numbered parts as a list again."""
    if not isinstance(data, dict):
        return data
    inner = {name: _lists(content) for name, content in data.items()}
    if inner and all(name.isdecimal() for name in inner):
        return [inner[name] for name in sorted(inner, key=int)]
    return inner
