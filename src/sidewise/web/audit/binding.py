"""Rows that cannot be changed unseen: every change of one is bound by a line of the audit.

A model that inherits `Bound` writes, in the same transaction as the change, a line with the marks
of the rows it changed. `gathered()` puts the changes of one act into one line.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from django.db import DEFAULT_DB_ALIAS, models, router, transaction
from django.db.models.signals import post_delete
from django.dispatch import receiver

from sidewise.web.audit import log, pending

T = TypeVar("T", bound=models.Model)


@contextmanager
def gathered() -> Iterator[None]:
    """One transaction; what is changed in it is bound by the lines written in it.

    Where none is written after the last change, one is added at the end.
    """
    if pending.is_collecting():
        with transaction.atomic():
            yield
        return
    with pending.collecting(), transaction.atomic():
        yield
        log.bind_rest()


@contextmanager
def _changing(using: str) -> Iterator[None]:
    # A copy, or a store that is being put back, brings its own lines with it.
    if using != DEFAULT_DB_ALIAS or pending.is_collecting():
        yield
        return
    with gathered():
        yield


def _changed(using: str, model: type[models.Model], keys: Iterable[Any]) -> None:
    if using == DEFAULT_DB_ALIAS:
        pending.wait(model, keys)


class BoundRows(models.QuerySet[T]):
    """Changes of many rows at once are bound too."""

    def update(self, **values: Any) -> int:
        """As Django's; the rows are read before, since they may not be found the same way after."""
        with _changing(self.db):
            keys = list(self.order_by().values_list("pk", flat=True))
            count = super().update(**values)
            _changed(self.db, self.model, keys)
        return count

    update.alters_data = True  # type: ignore[attr-defined]

    def bulk_create(self, objs: Iterable[T], *args: Any, **more: Any) -> list[T]:
        """As Django's."""
        with _changing(self.db):
            made = super().bulk_create(objs, *args, **more)
            _changed(self.db, self.model, [row.pk for row in made])
        return made

    def delete(self) -> tuple[int, dict[str, int]]:
        """As Django's; each row that goes is told by its signal."""
        with _changing(self.db):
            return super().delete()

    delete.alters_data = True  # type: ignore[attr-defined]
    delete.queryset_only = True  # type: ignore[attr-defined]


class Bound(models.Model):
    """A table whose every row is bound by the audit."""

    objects = models.Manager.from_queryset(BoundRows)()

    class Meta:
        abstract = True

    def save_base(
        self, raw: bool = False, force_insert: Any = False, force_update: bool = False,
        using: str | None = None, update_fields: Iterable[str] | None = None,
    ) -> None:  # fmt: skip
        """As Django's."""
        chosen = using or router.db_for_write(type(self), instance=self)
        with _changing(chosen):
            super().save_base(raw, force_insert, force_update, chosen, update_fields)
            _changed(chosen, type(self), [self.pk])

    def delete(
        self, using: str | None = None, keep_parents: bool = False
    ) -> tuple[int, dict[str, int]]:
        """As Django's; what goes with it is told by signals."""
        chosen = using or router.db_for_write(type(self), instance=self)
        with _changing(chosen):
            return super().delete(using=chosen, keep_parents=keep_parents)


@receiver(post_delete)
def _gone(sender: type[models.Model], instance: models.Model, using: str, **more: object) -> None:
    if issubclass(sender, Bound) and pending.is_collecting():
        _changed(using, sender, [instance.pk])
