"""A backup is one file: a manifest and a table a member, each with its count and SHA-256.

Made while the service runs, from a snapshot; sealed in an envelope that only the keeping key opens
(`envelope.py`), read back and checked before it gets its name. It holds everything but sessions,
and neither of the keys, which are kept apart.
"""

from __future__ import annotations

import getpass
import json
import os
import zipfile
import zlib
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import connections
from django.db.migrations.recorder import MigrationRecorder
from pydantic import TypeAdapter, ValidationError

from sidewise import __version__
from sidewise.errors import UserError
from sidewise.web.audit import anchors
from sidewise.web.audit.chain import Outside, noted_outside, verify
from sidewise.web.audit.log import Act, write
from sidewise.web.home import KEEPING_KEY_FILE, home
from sidewise.web.keeping import content
from sidewise.web.keeping.envelope import Opened, Sealing, opened
from sidewise.web.keeping.snapshot import snapshot
from sidewise.web.keeping.tables import digest, kept_models, rows

FORMAT = "sidewise-backup/1"
MANIFEST = "manifest.json"
SEALED_SINCE = "0002_lines_bind_rows"
"""The audit's migration of the first version whose backups stand in an envelope."""
MOST_MEMBERS = 200
"""Members of the archive: one for each table and the manifest; there are about twenty."""
MOST_UNPACKED = 100_000_000
"""Bytes that any backup may unpack to; a larger one must be large when packed as well."""
MOST_TIMES = 200
"""How many times its packed size a larger one may unpack to; rows of JSON make ten to thirty."""
LONGEST_LINE = 20_000_000
"""Bytes of one row: the web app takes no request above 5 MB."""
UNREADABLE = (
    zipfile.BadZipFile, OSError, EOFError, ValueError, NotImplementedError, RuntimeError,
    RecursionError, MemoryError, zlib.error,
)  # fmt: skip
"""What Python's archive and JSON readers throw at a file that is not what was written."""


@dataclass(frozen=True, slots=True)
class Table:
    """One table: how many rows, and their SHA-256."""

    rows: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself."""

    made_at: str
    version: str
    migrations: dict[str, list[str]]
    tables: dict[str, Table]
    audit_lines: int
    audit_seal: str
    format: str = FORMAT

    def text(self) -> str:
        """As JSON."""
        return json.dumps(asdict(self), indent=1, sort_keys=True)

    @property
    def total(self) -> int:
        """Rows in all tables."""
        return sum(table.rows for table in self.tables.values())


def back_up(target: Path) -> Manifest:
    """Write, read back, compare, and only then give the file its name. Refuses to overwrite."""
    if target.exists():
        raise UserError("backup", str(target), "a name that is not taken", "Choose another name.")
    if not target.parent.is_dir():
        raise UserError("backup", str(target.parent), "a folder that exists", "Make it first.")
    part = target.with_name(target.name + ".part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        # Noted before the snapshot: what is noted afterwards stands in no line of it.
        expected = noted_outside()
        with os.fdopen(descriptor, "wb") as raw, snapshot() as alias:
            sealing = Sealing(raw)
            manifest = _write(sealing, alias, expected)
            sealing.finish()
            raw.flush()
            os.fsync(raw.fileno())
        check(part)
        part.rename(target)
    finally:
        part.unlink(missing_ok=True)
    anchors.note(manifest.audit_lines, manifest.audit_seal)
    write(Act.BACKUP, "store", who=_who())
    return manifest


def _write(raw: Any, alias: str, expected: Outside) -> Manifest:
    verdict = verify(expected, alias)
    differs = next(content.differences(verdict, alias), None)
    if not verdict.whole or differs is not None:
        what = verdict.broken or (f"{differs.kind}: {differs.what}" if differs else "")
        raise UserError("backup", what, "a whole audit chain and rows as it binds them",
                        "Run `sidewise verify` and look into it before anything else.")  # fmt: skip
    tables = {}
    with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
        for model in kept_models(apps):
            name = model._meta.label_lower
            with archive.open(f"{name}.jsonl", "w", force_zip64=True) as member:
                tables[name] = Table(*digest(_through(member, rows(model, alias))))
        manifest = Manifest(
            made_at=datetime.now(UTC).isoformat(),
            version=__version__,
            migrations=applied(alias),
            tables=tables,
            audit_lines=verdict.lines,
            audit_seal=verdict.last_seal,
        )
        archive.writestr(MANIFEST, manifest.text())
    return manifest


def _through(member: Any, lines: Any) -> Any:
    for text in lines:
        member.write(text.encode())
        yield text


def applied(alias: str) -> dict[str, list[str]]:
    """The migrations that the database has had, by app."""
    done: dict[str, list[str]] = {}
    for app, name in sorted(MigrationRecorder(connections[alias]).applied_migrations()):
        done.setdefault(app, []).append(name)
    return done


def check(path: Path) -> Manifest:
    """Read the whole file; UserError unless it is ours and every byte is as it was written."""
    with opened(path) as backup:
        return check_opened(backup)


def check_opened(backup: Opened) -> Manifest:
    """As `check`, of a backup whose envelope is open."""
    path = backup.path
    try:
        with zipfile.ZipFile(backup.file) as archive:
            _refuse_bomb(backup, archive)
            manifest = _manifest(archive)
            names = {f"{name}.jsonl" for name in manifest.tables} | {MANIFEST}
            if set(archive.namelist()) != names or len(archive.namelist()) != len(names):
                raise damaged(path, "other members than its manifest lists")
            for name, table in manifest.tables.items():
                if Table(*digest(member_lines(archive, name))) != table:
                    raise damaged(path, f"another content of {name} than its manifest says")
    except UNREADABLE as error:
        raise damaged(path, type(error).__name__) from error
    if not backup.sealed and SEALED_SINCE in manifest.migrations.get("audit", []):
        raise damaged(path, "no envelope, though its version writes one")
    return manifest


def _refuse_bomb(backup: Opened, archive: zipfile.ZipFile) -> None:
    """Before anything is unpacked: what the archive itself says it would come to.

    Reading stops at the size that is declared, so a false declaration is a damaged member.
    """
    members = archive.infolist()
    if len(members) > MOST_MEMBERS:
        raise damaged(backup.path, f"{len(members):,} members, more than {MOST_MEMBERS}")
    unpacked = sum(member.file_size for member in members)
    allowed = max(MOST_UNPACKED, MOST_TIMES * backup.size)
    if unpacked > allowed:
        raise damaged(backup.path, f"{unpacked / 1e6:,.0f} MB when unpacked, more than any backup")


def member_lines(archive: zipfile.ZipFile, name: str) -> Any:
    """The lines of one table; ValueError for a line that no row can be."""
    with archive.open(f"{name}.jsonl") as member:
        while raw := member.readline(LONGEST_LINE + 1):
            if len(raw) > LONGEST_LINE:
                raise ValueError(f"{name}: a line of more than {LONGEST_LINE:,} bytes")
            yield raw.decode()


def _manifest(archive: zipfile.ZipFile) -> Manifest:
    try:
        if archive.getinfo(MANIFEST).file_size > LONGEST_LINE:
            raise KeyError
        data = json.loads(archive.read(MANIFEST))
        if data.get("format") != FORMAT:
            raise KeyError
        return _typed_manifest(data)
    except (KeyError, TypeError, AttributeError, ValidationError) as error:
        raise UserError("restore", "a file of another kind", f"a backup of format {FORMAT}",
                        "Choose a file that `sidewise backup` wrote.") from error  # fmt: skip


def _typed_manifest(data: dict[str, Any]) -> Manifest:
    # The fields have types: what is no list of names must not reach the migrations. As JSON,
    # because strictness towards Python objects would ask for a Manifest to make one.
    return TypeAdapter(Manifest).validate_json(json.dumps(data), strict=True)


def damaged(path: Path, what: str) -> UserError:
    """The one message for a file that is not what was written."""
    return UserError(path.name, what, "a backup exactly as it was written",
                     "Damaged or foreign; nothing was changed. Use another backup.")  # fmt: skip


def where_the_key_is() -> str:
    """The keeping key by its place, for a person; never the key itself."""
    if os.environ.get("SIDEWISE_KEEPING_KEY"):
        return "the key in SIDEWISE_KEEPING_KEY"
    return f"the key in {home() / KEEPING_KEY_FILE}"


def _who() -> str:
    try:
        return f"system {getpass.getuser()}"
    except (KeyError, OSError):
        return "system"
