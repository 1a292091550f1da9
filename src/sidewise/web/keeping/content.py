"""Compares what the database holds with what the audit bound: each difference by its name."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.apps.registry import Apps
from django.db import connections
from django.db.models import Model

from sidewise.errors import UserError
from sidewise.web.audit import binding
from sidewise.web.audit.chain import UNREADABLE, Bound, Key, Verdict
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.models import AuditLine
from sidewise.web.audit.rows import mark_of_row
from sidewise.web.keeping import schema

BASELINE = "baseline"
"""What the lines are about that bind everything as it stands."""
ROWS_A_LINE = 500


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as the program left it."""

    kind: str
    key: str
    what: str
    last_good: Bound | None = None
    part_of: str = ""

    def as_error(self) -> UserError:
        """For the screen: which, what became of it, and when it was last known good."""
        where = f"{self.kind} {self.key}{self.part_of}"
        expected = (
            f"it as bound by audit {self.last_good.when}" if self.last_good else
            "nothing here that the program did not write"
        )  # fmt: skip
        return UserError(where, self.what, expected, DO)


DO = (
    "Somebody wrote into the database past the program, or its disk is failing. Stop the service, "
    "keep a copy of the database as it is, compare with the last backup."
)


def bound_models(registry: Apps) -> list[type[Model]]:
    """Every table whose rows are bound, as this registry has it (an earlier one lacks some)."""
    labels = [m._meta.label_lower for m in apps.get_models() if issubclass(m, binding.Bound)]
    there = {m._meta.label_lower: m for m in registry.get_models()}
    return [there[label] for label in labels if label in there]


def is_bound(using: str = "default") -> bool:
    """Whether a line binds everything as it stood at some time."""
    return AuditLine.objects.using(using).filter(what=BASELINE).exists()


def differences(
    verdict: Verdict, using: str, registry: Apps = apps, skip: frozenset[str] = frozenset()
) -> Iterator[Difference]:
    """Everything that is not as the chain bound it last; the chain itself must be whole.

    `skip` are kinds that are not looked at (what a backup does not hold).
    """
    left = {key: last for key, last in verdict.bound.items() if key[0] not in skip}
    for model in bound_models(registry):
        kind = model._meta.label_lower
        if kind in skip:
            continue
        for key, mark, part_of in _marks(model, using):
            yield from _compared(kind, key, mark, left.pop((kind, key), None), part_of)
    if any(kind == schema.KIND for kind, _ in left):
        for key, mark in schema.marks(using).items():
            yield from _compared(schema.KIND, key, mark, left.pop((schema.KIND, key), None), "")
    yield from _missing(left)


def _compared(
    kind: str, key: str, mark: str | None, last: Bound | None, part_of: str
) -> Iterator[Difference]:
    if mark is None:
        yield Difference(kind, key, "something that cannot be read", last, part_of)
    elif last is None or last.mark is None:
        yield Difference(kind, key, "something added past the program", last, part_of)
    elif mark != last.mark:
        yield Difference(kind, key, "a changed content", last, part_of)


def _missing(left: dict[Key, Bound]) -> Iterator[Difference]:
    for (kind, key), last in left.items():
        if last.mark is not None:
            yield Difference(kind, key, "nothing: it was taken out", last)


def _marks(model: type[Model], using: str) -> Iterator[tuple[str, str | None, str]]:
    """Each row's key, its mark (None if it cannot be read) and the examination it belongs to."""
    rows = model._base_manager.using(using).order_by("pk")
    try:
        found = [_marked(row) for row in rows.iterator(chunk_size=2000)]
        odd = _odd_forms(model, using)
    except UNREADABLE:
        found, odd = [_one(rows, key) for key in _keys(model, using)], set()
    for key, mark, part_of in found:
        yield key, None if key in odd else mark, part_of


def _marked(row: Any) -> tuple[str, str | None, str]:
    of = getattr(row, "examination_id", None)
    return str(row.pk), mark_of_row(row), f" of examination {of}" if of else ""


def _one(rows: Any, key: Any) -> tuple[str, str | None, str]:
    try:
        return _marked(rows.get(pk=key))
    except UNREADABLE:
        return str(key), None, ""


def _odd_forms(model: type[Model], using: str) -> set[str]:
    """Rows of SQLite with a value in a form that the program does not write.

    SQLite takes any value in any column. A time that is none reads as nothing, and yet is not
    nothing to a query; such a row would say one thing here and another there.
    """
    chosen = connections[using]
    if chosen.vendor != "sqlite":
        return set()
    fields = model._meta.concrete_fields
    quote = chosen.ops.quote_name
    # The sign keeps Python's converters out: they look at the type of a column, not of a value.
    columns = ", ".join("+" + quote(str(field.column)) for field in fields)
    by_key = {row.pk: row for row in model._base_manager.using(using).all()}
    place = next(n for n, field in enumerate(fields) if field.primary_key)
    odd = set()
    with chosen.cursor() as cursor:
        cursor.execute(f"SELECT {columns} FROM {quote(model._meta.db_table)}")
        for stored in cursor.fetchall():
            key = fields[place].to_python(stored[place])
            if key not in by_key or not _as_written(by_key[key], stored, chosen):
                odd.add(str(key))
    return odd


def _as_written(row: Any, stored: tuple[Any, ...], chosen: Any) -> bool:
    fields = row._meta.concrete_fields
    pairs = zip(fields, stored, strict=True)
    return all(
        _plain(field.get_db_prep_save(getattr(row, field.attname), chosen)) == _plain(value)
        for field, value in pairs
    )


def _plain(value: Any) -> tuple[str, Any]:
    if isinstance(value, memoryview | bytes):
        return "bytes", bytes(value)
    if isinstance(value, bool):
        return "int", int(value)
    return type(value).__name__, value


def _keys(model: type[Model], using: str) -> list[Any]:
    try:
        return list(model._base_manager.using(using).order_by().values_list("pk", flat=True))
    except UNREADABLE:
        # Not even the keys can be read: the whole table is named by `_missing`.
        return []


def bind_everything(who: str = "") -> int:
    """Lines that bind every row and the shape of the database as they stand; how many things.

    What was bound before and is gone is bound as gone. Whoever calls has verified what came before.
    """
    from sidewise.web.audit.chain import verify

    gone = {key for key, last in verify({}).bound.items() if last.mark is not None}
    count = 0
    for kind, marks in _everything():
        gone -= {(kind, key) for key in marks}
        for part in _parts(marks):
            write(Act.BOUND, BASELINE, who=who, marks={kind: part})
        count += len(marks)
    for kind in sorted({kind for kind, _ in gone}):
        for part in _parts({key: None for of, key in gone if of == kind}):
            write(Act.BOUND, BASELINE, who=who, marks={kind: part})
    return count


def _everything() -> Iterator[tuple[str, dict[str, str | None]]]:
    for model in bound_models(apps):
        rows = model._base_manager.iterator(chunk_size=2000)
        yield model._meta.label_lower, {str(row.pk): mark_of_row(row) for row in rows}
    yield schema.KIND, schema.marks("default")


def _parts(marks: dict[str, str | None]) -> Iterator[dict[str, str | None]]:
    names = sorted(marks)
    for start in range(0, len(names), ROWS_A_LINE):
        yield {name: marks[name] for name in names[start : start + ROWS_A_LINE]}
