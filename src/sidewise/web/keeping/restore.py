"""Puts a backup back, beside what is there, proves it row by row, and only then swaps.

SQLite: into a new file; the old one is kept under another name. PostgreSQL: into an empty
database, in one transaction.
"""

from __future__ import annotations

import zipfile
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from django.db import DatabaseError, connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor

from sidewise.errors import UserError
from sidewise.web.audit import anchors
from sidewise.web.audit.chain import verify
from sidewise.web.audit.log import Act, write
from sidewise.web.keeping import erase
from sidewise.web.keeping.backup import Manifest, Table, check, damaged, member_lines
from sidewise.web.keeping.snapshot import using_sqlite
from sidewise.web.keeping.tables import digest, kept_models, row_of, rows

BATCH = 500


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, where the former data went, and what was erased again."""

    manifest: Manifest
    former: Path | None
    erased_again: int


def restore(source: Path, *, replace: bool = False) -> Restored:
    """Check the file, load it, prove it; UserError leaves everything as it was."""
    manifest = check(source)
    # A list of the erased that cannot be read is said now, not when the swap is done.
    list(erase.noted_outside())
    if connection.vendor == "sqlite":
        return _into_new_file(source, manifest, replace)
    return _into_empty_database(source, manifest)


def _into_new_file(source: Path, manifest: Manifest, replace: bool) -> Restored:
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


def _into_empty_database(source: Path, manifest: Manifest) -> Restored:
    if _has_rows():
        raise UserError("restore", "a database with records in it", "an empty database",
                        "Create a new database and name it in SIDEWISE_DATABASE_URL.")  # fmt: skip
    _load_and_prove(source, manifest, "default")
    return _finish(manifest, None)


def _has_rows() -> bool:
    present = set(connection.introspection.table_names())
    if "accounts_user" not in present:
        return False
    with connection.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM accounts_user")
        return bool(cursor.fetchone()[0])


def _load_and_prove(source: Path, manifest: Manifest, alias: str) -> None:
    executor = MigrationExecutor(connections[alias])
    targets = _targets(manifest, executor)
    executor.migrate(targets)
    state = MigrationExecutor(connections[alias]).loader.project_state(targets).apps
    models = {m._meta.label_lower: m for m in kept_models(state)}
    if set(models) != set(manifest.tables):
        raise damaged(source, "other tables than its version had")
    try:
        with transaction.atomic(alias), zipfile.ZipFile(source) as archive:
            for name, model in models.items():
                _load(model, member_lines(archive, name), alias)
            _reset_numbers(list(models.values()), alias)
            _prove(source, manifest, models, alias)
    except (DatabaseError, ValueError, TypeError) as error:
        raise damaged(source, "rows that do not fit together") from error
    executor = MigrationExecutor(connections[alias])
    executor.migrate(executor.loader.graph.leaf_nodes())
    from sidewise.web.keeping.guard import put_in_place

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
    from django.core.management.color import no_style

    statements = connections[alias].ops.sequence_reset_sql(no_style(), models)
    with connections[alias].cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def _prove(source: Path, manifest: Manifest, models: dict[str, Any], alias: str) -> None:
    for name, model in models.items():
        if Table(*digest(rows(model, alias))) != manifest.tables[name]:
            raise damaged(source, f"rows of {name} that do not come back the same")
    verdict = verify({manifest.audit_lines: manifest.audit_seal}, using=alias)
    if not verdict.whole:
        raise damaged(source, f"an audit chain where {verdict.broken}")


def _finish(manifest: Manifest, former: Path | None) -> Restored:
    # What was erased after the backup was made must not come back with it.
    anchors.keep_up_to(manifest.audit_lines)
    again = erase.erase_again()
    write(Act.RESTORED, "store", who="system")
    return Restored(manifest, former, again)
