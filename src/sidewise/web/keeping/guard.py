"""The database itself refuses to change or delete what is append-only.

Triggers on the ledger and on the audit are put in place after every migration (SQLite rebuilds
tables and loses triggers when it migrates). They give way only inside `erasing()`: on SQLite
through a function that exists only in our own connections, on PostgreSQL through a setting of the
transaction. A shell on the database file is refused too.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.db import connection, connections, transaction

TABLES = {
    "examinations_ledgerentry": "ledger",
    "audit_auditline": "audit",
    "marks_settlement": "marks",
    "practice_practicestep": "practice",
    "supervised_learnerfinding": "supervised",
}
_allowed: ContextVar[str] = ContextVar("allowed", default="")

SQLITE = """
CREATE TRIGGER IF NOT EXISTS keep_{table}_update BEFORE UPDATE ON {table}
BEGIN SELECT RAISE(ABORT, 'append-only: a line of {table} is never changed'); END;
CREATE TRIGGER IF NOT EXISTS keep_{table}_delete BEFORE DELETE ON {table}
WHEN sidewise_erasing() NOT IN ('{name}', 'everything')
BEGIN SELECT RAISE(ABORT, 'append-only: a line of {table} is never deleted'); END;
"""
POSTGRES_FUNCTION = """
CREATE OR REPLACE FUNCTION sidewise_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
  IF TG_OP <> 'UPDATE' AND
     coalesce(current_setting('sidewise.erasing', true), '') IN (TG_ARGV[0], 'everything') THEN
    RETURN OLD;
  END IF;
  RAISE EXCEPTION 'append-only: a line of % is never changed or deleted', TG_TABLE_NAME;
END $$;
"""
POSTGRES = """
DROP TRIGGER IF EXISTS keep_{table} ON {table};
CREATE TRIGGER keep_{table} BEFORE UPDATE OR DELETE ON {table}
FOR EACH ROW EXECUTE FUNCTION sidewise_append_only('{name}');
DROP TRIGGER IF EXISTS keep_{table}_whole ON {table};
CREATE TRIGGER keep_{table}_whole BEFORE TRUNCATE ON {table}
FOR EACH STATEMENT EXECUTE FUNCTION sidewise_append_only('{name}');
"""


@contextmanager
def erasing(what: str) -> Iterator[None]:
    """Within this block, and its transaction, lines of `what` may be deleted."""
    token = _allowed.set(what)
    try:
        with transaction.atomic():
            _tell_postgres(what)
            yield
            _tell_postgres("")
    finally:
        _allowed.reset(token)


def _tell_postgres(what: str) -> None:
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT set_config('sidewise.erasing', %s, true)", [what])


def know_function(sender: object, connection: Any, **more: object) -> None:
    """Give each SQLite connection the function that its triggers ask."""
    if connection.vendor == "sqlite":
        connection.connection.create_function("sidewise_erasing", 0, _allowed.get)


def put_in_place(using: str = "default", **more: object) -> None:
    """Create the triggers; run after every migration."""
    chosen = connections[using]
    present = set(chosen.introspection.table_names())
    with chosen.cursor() as cursor:
        if chosen.vendor == "postgresql":
            cursor.execute(POSTGRES_FUNCTION)
        for table, name in TABLES.items():
            if table not in present:
                continue
            if chosen.vendor == "postgresql":
                cursor.execute(POSTGRES.format(table=table, name=name))
                continue
            for statement in SQLITE.format(table=table, name=name).split("END;"):
                if statement.strip():
                    cursor.execute(statement + "END;")


def missing(using: str = "default") -> list[str]:
    """Append-only tables that the database does not guard at the moment."""
    chosen = connections[using]
    with chosen.cursor() as cursor:
        if chosen.vendor == "postgresql":
            cursor.execute(
                "SELECT event_object_table, event_manipulation FROM information_schema.triggers "
                "WHERE trigger_name LIKE 'keep%%'"
            )
            guarded = {table for table, _ in cursor.fetchall()}
        else:
            cursor.execute("SELECT tbl_name FROM sqlite_master WHERE type = 'trigger'")
            names = [row[0] for row in cursor.fetchall()]
            guarded = {name for name in names if names.count(name) >= 2}
    return sorted(set(TABLES) - guarded)
