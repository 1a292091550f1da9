"""Every row of every table that is kept, as plain values, in an order that repeats."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from typing import Any

from django.apps.registry import Apps
from django.core.exceptions import ValidationError
from django.db.models import Field, Model

from sidewise.web.audit.rows import row_line

# Not kept: what only lives between a browser and this machine, and what Django makes itself.
LEFT_OUT = {
    "sessions.session", "accounts.signedin", "accounts.failure", "accounts.onetimelink",
    "contenttypes.contenttype", "auth.permission", "auth.group",
}  # fmt: skip


def kept_models(apps: Apps) -> list[type[Model]]:
    """Every model that is backed up, each after those it refers to."""
    models = [m for m in apps.get_models(include_auto_created=False) if m._meta.managed]
    models = [m for m in models if m._meta.label_lower not in LEFT_OUT]
    ordered: list[type[Model]] = []
    while models:
        ready = [m for m in models if not _refers(m) & set(models) - {m}]
        if not ready:
            raise AssertionError(f"tables refer to each other in a ring: {models}")
        ordered += sorted(ready, key=lambda m: m._meta.label_lower)
        models = [m for m in models if m not in ready]
    return ordered


def _refers(model: type[Model]) -> set[type[Model]]:
    related = (field.related_model for field in model._meta.concrete_fields)
    return {other for other in related if isinstance(other, type)}


def rows(model: type[Model], using: str) -> Iterator[str]:
    """Each row as one line of JSON, by primary key."""
    many = {field.related_model for field in model._meta.local_many_to_many}
    assert all(isinstance(m, type) and m._meta.label_lower in LEFT_OUT for m in many), model
    for row in model._default_manager.using(using).order_by("pk").iterator(chunk_size=2000):
        yield row_line(row)


def row_of(model: type[Model], text: str) -> Model:
    """The row that a line stands for; ValueError if it stands for none."""
    fields: dict[str, Field[Any, Any]] = {f.attname: f for f in model._meta.concrete_fields}
    try:
        values = json.loads(text)
        if not isinstance(values, dict) or set(values) != set(fields):
            raise ValueError("other columns than this version's")
        return model(**{name: _field(fields[name], value) for name, value in values.items()})
    except (ValidationError, ValueError, TypeError, OverflowError, RecursionError) as error:
        raise ValueError(f"{model._meta.label}: {type(error).__name__}") from error


def _field(field: Field[Any, Any], value: Any) -> Any:
    # Some fields read nothing as a word of theirs; what may be empty is empty.
    return None if value is None and field.null else field.to_python(value)


def digest(lines: Iterator[str]) -> tuple[int, str]:
    """How many lines, and the SHA-256 of all of them."""
    count, sha = 0, hashlib.sha256()
    for text in lines:
        count += 1
        sha.update(text.encode())
    return count, sha.hexdigest()
