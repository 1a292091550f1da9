"""A view of the whole database at one moment, while others go on writing."""

from __future__ import annotations

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from django.db import connection, connections, transaction

ALIAS = "snapshot"


@contextmanager
def snapshot() -> Iterator[str]:
    """The alias of a database that stands still.

    SQLite: a copy by its online backup interface, which writers do not wait for. PostgreSQL: a
    repeatable-read transaction.
    """
    if connection.vendor == "sqlite":
        with tempfile.TemporaryDirectory(prefix="sidewise-") as folder:
            copy = Path(folder) / "copy.sqlite3"
            _copy(copy)
            with using_sqlite(copy) as alias:
                yield alias
        return
    with _second_connection(dict(connection.settings_dict)) as alias, transaction.atomic(alias):
        with connections[alias].cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        yield alias


def _copy(path: Path) -> None:
    connection.ensure_connection()
    with sqlite3.connect(path) as target:
        connection.connection.backup(target)
    target.close()


@contextmanager
def using_sqlite(path: Path) -> Iterator[str]:
    """Another SQLite file as a database of its own."""
    options = {"timeout": 20}
    settings = {**connection.settings_dict, "NAME": str(path), "OPTIONS": options,
                "ENGINE": "django.db.backends.sqlite3"}  # fmt: skip
    with _second_connection(settings) as alias:
        yield alias


@contextmanager
def _second_connection(settings: dict[str, object]) -> Iterator[str]:
    connections.databases[ALIAS] = settings
    try:
        yield ALIAS
    finally:
        connections[ALIAS].close()
        del connections[ALIAS]
        del connections.databases[ALIAS]
