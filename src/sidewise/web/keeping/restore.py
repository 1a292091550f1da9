"""Puts a backup back, beside what is there, proves it row by row, and only then swaps.

SQLite: into a new file; the old one is kept under another name. PostgreSQL: into an empty
database, in one transaction.
"""

from __future__ import annotations

import dataclasses
import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from django.apps.registry import Apps
from django.core.management.color import no_style
from django.db import DatabaseError, connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor

from sidewise.errors import UserError
from sidewise.web.audit import anchors, head
from sidewise.web.audit.chain import verify
from sidewise.web.audit.log import Act, write
from sidewise.web.audit.models import AuditLine
from sidewise.web.keeping import content, erasure, schema
from sidewise.web.keeping.backup import Manifest, Table, check_opened, damaged, member_lines
from sidewise.web.keeping.envelope import UNSEALED, Opened, opened
from sidewise.web.keeping.guard import erasing, put_in_place
from sidewise.web.keeping.snapshot import using_sqlite
from sidewise.web.keeping.tables import LEFT_OUT, digest, kept_models, row_of, rows

BATCH = 500
NOT_IN_BACKUPS = frozenset({schema.KIND, *LEFT_OUT})


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, where the former data went, and what was erased again."""

    manifest: Manifest
    former: Path | None
    erased_again: int
    caution: str = ""


def restore(source: Path, *, replace: bool = False) -> Restored:
    """Check the file, load it, prove it; UserError leaves everything as it was."""
    with opened(source) as backup:
        manifest = check_opened(backup)
        # A list of the erased that cannot be read is said now, not when the swap is done.
        list(erasure.noted_outside())
        if connection.vendor == "sqlite":
            done = _into_new_file(backup, manifest, replace)
        else:
            done = _into_empty_database(backup, manifest)
    return done if backup.sealed else dataclasses.replace(done, caution=UNSEALED)


def _into_new_file(source: Opened, manifest: Manifest, replace: bool) -> Restored:
    place = Path(str(connection.settings_dict["NAME"]))
    if place.exists() and _has_rows() and not replace:
        raise UserError("restore", "a database with records in it", "an empty one, or --replace",
                        "With --replace the present data are kept under another name.")  # fmt: skip
    fresh = place.with_name(place.name + ".restoring")
    fresh.unlink(missing_ok=True)
    try:
        with using_sqlite(fresh) as alias:
            _load_and_prove(source, manifest, alias)
        former = _swap(fresh, place)
    finally:
        fresh.unlink(missing_ok=True)
    return _finish(manifest, former)


def _swap(fresh: Path, place: Path) -> Path | None:
    # Fold the write-ahead log into the file first, or the copy beside would lack its last pages.
    if place.exists():
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    former = None
    if place.exists():
        stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S%f")
        former = place.with_name(f"{place.name}.before-restore-{stamp}")
        place.rename(former)
        for tail in ("-wal", "-shm"):
            place.with_name(place.name + tail).unlink(missing_ok=True)
    fresh.rename(place)
    return former


def _into_empty_database(source: Opened, manifest: Manifest) -> Restored:
    if _has_rows():
        raise UserError("restore", "a database with records in it", "an empty database",
                        "Create a new database and name it in SIDEWISE_DATABASE_URL.")  # fmt: skip
    # The lines that bound the empty database give way to those of the backup.
    if "audit_auditline" in connection.introspection.table_names():
        with erasing("everything"):
            AuditLine.objects.all().delete()
    _load_and_prove(source, manifest, "default")
    return _finish(manifest, None)


def _has_rows() -> bool:
    present = set(connection.introspection.table_names())
    if "accounts_user" not in present:
        return False
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM accounts_user")
        return bool(cursor.fetchone()[0])


def _load_and_prove(source: Opened, manifest: Manifest, alias: str) -> None:
    executor = MigrationExecutor(connections[alias])
    targets = _targets(manifest, executor)
    executor.migrate(targets)
    state = MigrationExecutor(connections[alias]).loader.project_state(targets).apps
    models = {m._meta.label_lower: m for m in kept_models(state)}
    if set(models) != set(manifest.tables):
        raise damaged(source.path, "other tables than its version had")
    try:
        with transaction.atomic(alias), zipfile.ZipFile(source.file) as archive:
            for name, model in models.items():
                _load(model, member_lines(archive, name), alias)
            _reset_numbers(list(models.values()), alias)
            _prove(source, manifest, models, state, alias)
    except (DatabaseError, ValueError, TypeError) as error:
        raise damaged(source.path, "rows that do not fit together") from error
    executor = MigrationExecutor(connections[alias])
    executor.migrate(executor.loader.graph.leaf_nodes())
    put_in_place(using=alias)


def _targets(manifest: Manifest, executor: MigrationExecutor) -> list[tuple[str, str]]:
    known = set(executor.loader.disk_migrations)
    done = {(app, name) for app, names in manifest.migrations.items() for name in names}
    if unknown := sorted(done - known):
        raise UserError("restore", f"a backup of version {manifest.version} with {unknown[0][1]}",
                        "a backup of this version or an older one",
                        "Install the version that made it, or a newer one.")  # fmt: skip
    graph = executor.loader.graph
    return sorted(
        node for node in done if not any(c.key in done for c in graph.node_map[node].children)
    )


def _load(model: Any, lines: Any, alias: str) -> None:
    rows_ = (row_of(model, text) for text in lines)
    while batch := list(islice(rows_, BATCH)):
        # Dates that Django would set by itself must stay what they were.
        for field in model._meta.concrete_fields:
            if getattr(field, "auto_now_add", False) or getattr(field, "auto_now", False):
                field.auto_now_add = field.auto_now = False
        model._base_manager.using(alias).bulk_create(batch)


def _reset_numbers(models: list[Any], alias: str) -> None:
    statements = connections[alias].ops.sequence_reset_sql(no_style(), models)
    with connections[alias].cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _prove(
    source: Opened, manifest: Manifest, models: dict[str, Any], state: Apps, alias: str
) -> None:
    for name, model in models.items():
        if Table(*digest(rows(model, alias))) != manifest.tables[name]:
            raise damaged(source.path, f"rows of {name} that do not come back the same")
    verdict = verify({manifest.audit_lines: manifest.audit_seal}, alias, state)
    if not verdict.whole:
        raise damaged(source.path, f"an audit chain where {verdict.broken}")
    if verdict.marked and (
        found := next(content.differences(verdict, alias, state, NOT_IN_BACKUPS), None)
    ):
        raise damaged(source.path, f"{found.kind} {found.key} with {found.what}")


def _finish(manifest: Manifest, former: Path | None) -> Restored:
    # What was erased after the backup was made must not come back with it.
    anchors.keep_up_to(manifest.audit_lines)
    head.begin_anew(manifest.audit_lines, manifest.audit_seal)
    with transaction.atomic():
        write(Act.RESTORED, "store", who="system")
        # The rows were compared with the chain; the shape of this database is another's.
        content.bind_everything("restore")
    again = erasure.erase_again()
    return Restored(manifest, former, again)
