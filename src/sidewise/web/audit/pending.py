"""Rows that were changed and not yet bound by an audit line.

Only which rows: what they say is read when the line is written, so that a row changed twice, or
changed and rolled back, is bound as it stands in the database.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.db.models import Model

from sidewise.web.audit.rows import mark_of_row

Marks = dict[str, dict[str, str | None]]
"""By kind of thing and by its key: its mark, or None where it is gone."""
AT_ONCE = 500
"""Rows asked for in one query."""

_waiting: ContextVar[dict[type[Model], dict[Any, None]] | None] = ContextVar(
    "waiting", default=None
)


@contextmanager
def collecting() -> Iterator[None]:
    """Within this block changed rows wait for the next line instead of having one each."""
    token = _waiting.set({})
    try:
        yield
    finally:
        _waiting.reset(token)


def is_collecting() -> bool:
    """Whether changed rows wait for a line."""
    return _waiting.get() is not None


def wait(model: type[Model], keys: Iterable[Any]) -> None:
    """These rows were changed, added or taken out."""
    waiting = _waiting.get()
    assert waiting is not None
    waiting.setdefault(model, {}).update(dict.fromkeys(keys))


def taken() -> Marks:
    """What waits, as it stands in the database now; afterwards nothing waits."""
    waiting = _waiting.get()
    if not waiting:
        return {}
    marks = {
        model._meta.label_lower: marks_of(model, list(keys)) for model, keys in waiting.items()
    }
    waiting.clear()
    return marks


def marks_of(model: type[Model], keys: list[Any]) -> dict[str, str | None]:
    """The mark of each of these rows; None for one that is not there."""
    marks: dict[str, str | None] = {str(key): None for key in keys}
    for start in range(0, len(keys), AT_ONCE):
        for row in model._base_manager.filter(pk__in=keys[start : start + AT_ONCE]):
            marks[str(row.pk)] = mark_of_row(row)
    return marks
