"""A record without what could tell whose it is: numbers for codes, moved dates, 90 for older.

What is kept and what goes follows the safe harbour of 45 CFR 164.514(b)(2), with one difference
that is said wherever the tables go: dates are not cut to the year but moved, all visits of a
patient by the same number of days, so that intervals stay true. Free text goes unless asked for:
whatever is no word of the protocol and no number. The numbers are drawn anew for each export and
follow from nothing in the record; which stands for whom is kept nowhere.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from typing import Any, Literal, TypeVar, get_args, get_origin

from pydantic import BaseModel

from sidewise.kinds import AnyValue
from sidewise.protocol import Item, Protocol
from sidewise.record.care import CareEntry
from sidewise.record.model import Conclusion, Context, Finding, Record

OLDEST = 90
"""Stands for 90 or older (45 CFR 164.514(b)(2)(i)(C))."""
MOST_DAYS = 182
"""A patient's dates move by up to so many days, and never by none."""
LEFT_OUT = "left out"
"""Stands where a text must stand."""
POINTS = re.compile(r"[-\d., ]+")
Model = TypeVar("Model", bound=BaseModel)


@dataclass
class Deidentifier:
    """Makes records of one export anonymous to its reader; one for each export.

    free_text: whether texts stay. number, days: where chance comes from, to be passed in tests.
    """

    free_text: bool = False
    number: Callable[[], str] = field(default=lambda: secrets.token_hex(4))
    days: Callable[[], int] = field(
        default=lambda: (1 + secrets.randbelow(MOST_DAYS)) * secrets.choice((-1, 1))
    )
    _names: dict[tuple[str, str], str] = field(default_factory=dict)
    _shifts: dict[str, timedelta] = field(default_factory=dict)

    def deidentified(self, record: Record, protocol: Protocol) -> Record:
        """The record under new numbers; signature, repairs and earlier revisions are gone."""
        shift = self._shift(record.context.patient)
        return Record(
            id=self._new_name("R", record.id),
            region=record.region,
            context=self._context(record.context, shift),
            findings=tuple(self._finding(one, protocol) for one in record.findings),
            conclusion=record.conclusion if self.free_text else Conclusion(),
            care=tuple(self._care(one, shift) for one in record.care),
        )

    def _shift(self, patient: str) -> timedelta:
        if patient not in self._shifts:
            self._shifts[patient] = timedelta(days=self.days())
        return self._shifts[patient]

    def _new_name(self, letter: str, name: str) -> str:
        key = (letter, name)
        taken = set(self._names.values()) if key not in self._names else set()
        while key not in self._names:
            drawn = f"{letter}-{self.number()}"
            if drawn not in taken:
                self._names[key] = drawn
        return self._names[key]

    def _context(self, context: Context, shift: timedelta) -> Context:
        return context.model_copy(
            update={
                "patient": self._new_name("P", context.patient),
                "examiner": self._new_name("E", context.examiner),
                # The hour tells little of the joint and something of the person.
                "examined_at": _noon(context.examined_at + shift),
                "age": None if context.age is None else min(context.age, OLDEST),
                "mechanism": context.mechanism if self.free_text else None,
                "follows": None,
            }
        )

    def _finding(self, finding: Finding, protocol: Protocol) -> Finding:
        examiner = finding.examiner
        known = {
            "examiner": self._new_name("E", examiner) if examiner else None,
        }
        if self.free_text:
            return finding.model_copy(update=known)
        item = protocol.item(finding.item)
        return finding.model_copy(
            update={
                **known,
                "note": None,
                "reason": LEFT_OUT if finding.reason else None,
                "value": _closed_value(finding.value, item),
            }
        )

    def _care(self, entry: CareEntry, shift: timedelta) -> CareEntry:
        cells: dict[str, Any] = entry.model_dump(exclude_none=True)
        moved = _moved_dates(cells, shift)
        kept = moved if self.free_text else _without_texts(type(entry), moved)
        return type(entry).model_validate(kept)


def _noon(moment: datetime) -> datetime:
    return datetime(moment.year, moment.month, moment.day, 12, tzinfo=UTC)


def _moved_dates(cells: dict[str, Any], shift: timedelta) -> dict[str, Any]:
    return {k: v + shift if isinstance(v, date) else v for k, v in cells.items()}


def _closed_value(value: AnyValue | None, item: Item) -> AnyValue | None:
    """The value with texts left out that are no words of the item's."""
    if value is None:
        return None
    limits = item.kind(value.kind)
    words = set(_texts(limits.model_dump())) if limits else set()
    cells = value.model_dump(by_alias=True, exclude_unset=True)
    own = {f.alias or name: f for name, f in type(value).model_fields.items()}
    for name, content in cells.items():
        parts = content if isinstance(content, tuple | list) else (content,)
        if all(not isinstance(p, str) or p in words or POINTS.fullmatch(p) for p in parts):
            continue
        told = own.get(name)
        if told is not None and not _is_closed(told.annotation):
            cells[name] = LEFT_OUT if told.is_required() else None
    return type(value).model_validate(cells)


def _texts(data: Any) -> Iterator[str]:
    if isinstance(data, str):
        yield data
    elif isinstance(data, dict):
        for content in data.values():
            yield from _texts(content)
    elif isinstance(data, list | tuple):
        for content in data:
            yield from _texts(content)


def _without_texts(model: type[BaseModel], cells: dict[str, Any]) -> dict[str, Any]:
    """The cells of an entry of care; a text stays only where its words are a closed set."""
    return {name: _left_out(model.model_fields[name].annotation, v) for name, v in cells.items()}


def _left_out(annotation: Any, content: Any) -> Any:
    if isinstance(content, str):
        return content if _is_closed(annotation) else LEFT_OUT
    if isinstance(content, dict):
        return _without_texts(_model_in(annotation), content)
    if isinstance(content, list | tuple):
        return [_left_out(annotation, one) for one in content]
    return content


def _model_in(annotation: Any) -> type[BaseModel]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(_model_in(one) for one in get_args(annotation) if one not in (type(None), ...))


def _is_closed(annotation: Any) -> bool:
    """Whether every text that an annotation allows is one of its literals."""
    if get_origin(annotation) is Literal:
        return True
    inner = [one for one in get_args(annotation) if one is not type(None)]
    if not inner:
        return annotation is not str
    return all(_is_closed(one) for one in inner if isinstance(one, type) or get_args(one))
