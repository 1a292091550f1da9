"""Brings the database up to date, and binds what it holds; a copy of before is kept.

Nothing is migrated that somebody has changed past the program: a new version would bind it as it
stands, and nobody could tell afterwards. A database that is up to date is not touched, so that a
missing guard is found by `verify` before it is put back.
"""

from __future__ import annotations

from typing import Any

from django.core.management import call_command
from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.web.audit.chain import verify
from sidewise.web.keeping import content
from sidewise.web.keeping.former_copy import keep_copy


def bring_up_to_date() -> None:
    """Migrate where there is something to migrate, then bind what is there."""
    executor = MigrationExecutor(connection)
    _refuse_newer(executor)
    plan = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if plan:
        _refuse_changed(executor)
        if executor.loader.applied_migrations:
            keep_copy()
        call_command("migrate", verbosity=0, interactive=False)
    if plan or not content.is_bound():
        with transaction.atomic():
            content.bind_everything("upgrade")


def _refuse_newer(executor: MigrationExecutor) -> None:
    """A newer version may have stored what this one would not show: nothing is opened."""
    unknown = sorted(set(executor.loader.applied_migrations) - set(executor.loader.disk_migrations))
    if unknown:
        named = ", ".join(f"{app} {name}" for app, name in unknown[:3])
        raise UserError("the data folder", f"data of a newer version ({named})",
                        f"data of sidewise {__version__} or earlier",
                        "Install the newer version again; nothing was changed.")  # fmt: skip


def _refuse_changed(executor: MigrationExecutor) -> None:
    names = connection.introspection.table_names()
    if "audit_auditline" not in names or not _has_marks():
        return
    old: Any = executor.loader.project_state(list(executor.loader.applied_migrations)).apps
    verdict = verify(registry=old)
    # Without the lines that bind everything rows cannot be compared; a chain that lost them breaks.
    bound = content.differences(verdict, "default", old) if content.is_bound() else ()
    found = [each.as_error().message for each in bound]
    if not verdict.whole or found:
        raise UserError("upgrade", verdict.broken or found[0], "a database as the program left it",
                        "Run `sidewise verify` with the version before this one, and settle what "
                        "it names.")  # fmt: skip


def _has_marks() -> bool:
    with connection.cursor() as cursor:
        columns = connection.introspection.get_table_description(cursor, "audit_auditline")
    return any(column.name == "mark" for column in columns)
