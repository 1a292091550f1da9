"""The shape of the database as things that can be bound: tables, indexes, triggers, functions.

And, whole, those small tables that only migrations write. The lists below say what is left out.
"""

from __future__ import annotations

from typing import Any

from django.db import connections

from sidewise.web.audit.rows import line, mark_of_text

KIND = "schema"
FREE = {
    "examinations_preferences": "what a person usually does: no part of any record",
    "django_session": "sessions end by themselves and are never restored",
    "accounts_signedin": "the list of live sessions",
    "accounts_failure": "counts of wrong tries; they go after a day",
    "sqlite_sequence": "the next free numbers; they change with every row",
    "sqlite_stat1": "what the query planner counted",
}
"""Tables whose rows are not bound, and why. Their shape is."""
BY_MIGRATIONS = (
    "django_migrations", "django_content_type", "auth_permission", "auth_group",
    "auth_group_permissions", "accounts_user_groups", "accounts_user_user_permissions",
)  # fmt: skip
"""Tables that only migrations write, or that the program does not use: each bound whole."""
SQLITE = "SELECT type || ' ' || name, tbl_name || char(10) || coalesce(sql, '') FROM sqlite_master"
POSTGRES = (
    "SELECT 'column ' || table_name || '.' || column_name, concat_ws(' ', data_type, "
    "character_maximum_length, is_nullable, column_default, is_identity) "
    "FROM information_schema.columns WHERE table_schema = current_schema()",
    "SELECT 'index ' || indexname, indexdef FROM pg_indexes WHERE schemaname = current_schema()",
    "SELECT 'constraint ' || conrelid::regclass || '.' || conname, pg_get_constraintdef(oid) "
    "FROM pg_constraint WHERE connamespace = current_schema()::regnamespace",
    "SELECT 'trigger ' || tgrelid::regclass || '.' || tgname, "
    "tgenabled::text || pg_get_triggerdef(t.oid) FROM pg_trigger t "
    "JOIN pg_class c ON c.oid = tgrelid WHERE NOT tgisinternal "
    "AND c.relnamespace = current_schema()::regnamespace",
    "SELECT 'function ' || proname, prosrc FROM pg_proc "
    "WHERE pronamespace = current_schema()::regnamespace",
    "SELECT 'view ' || viewname, definition FROM pg_views WHERE schemaname = current_schema()",
    "SELECT 'rule ' || tablename || '.' || rulename, definition FROM pg_rules "
    "WHERE schemaname = current_schema()",
)


def marks(using: str) -> dict[str, str | None]:
    """The mark of each thing, by its name."""
    return {name: mark_of_text(KIND, f"{name}\n{text}") for name, text in things(using).items()}


def things(using: str) -> dict[str, str]:
    """What the database is made of: each thing by name, with its text."""
    chosen = connections[using]
    found: dict[str, str] = {}
    with chosen.cursor() as cursor:
        for sql in POSTGRES if chosen.vendor == "postgresql" else (SQLITE,):
            cursor.execute(sql)
            found.update((str(name), str(text)) for name, text in cursor.fetchall())
        if chosen.vendor == "sqlite":
            found.update(_numbers(cursor))
        present = set(chosen.introspection.table_names(cursor))
        for table in BY_MIGRATIONS:
            if table in present:
                found[f"rows of {table}"] = _whole(cursor, chosen.ops.quote_name(table))
    return found


def _numbers(cursor: Any) -> dict[str, str]:
    found = {}
    for name in ("user_version", "application_id", "encoding"):
        cursor.execute(f"PRAGMA {name}")
        found[f"pragma {name}"] = str(cursor.fetchone()[0])
    return found


def _whole(cursor: Any, table: str) -> str:
    cursor.execute(f"SELECT * FROM {table} ORDER BY 1")
    names = [column[0] for column in cursor.description]
    rows = (dict(zip(names, map(str, row), strict=True)) for row in cursor.fetchall())
    return "".join(line(row) for row in rows)
