"""The database as it was before an upgrade changed its shape: one copy, beside it.

It is for going back to the version before, and holds everything as the database did. It goes when
the next upgrade makes another, and as soon as anything is erased: what was erased must not wait in
a copy. Only SQLite is copied; on PostgreSQL a department makes its own before an upgrade.
"""

from __future__ import annotations

import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

from django.db import connection

from sidewise.errors import UserError
from sidewise.web.home import home

STEM = "before-upgrade-"


def copies() -> list[Path]:
    """The copies there are; at most one, unless a removal failed."""
    return sorted(home().glob(f"{STEM}*.sqlite3"))


def keep_copy() -> Path | None:
    """Copy the database and remove former copies; UserError where the disk does not take it.

    None where there is nothing to copy: another database than SQLite.
    """
    if connection.vendor != "sqlite":
        return None
    former = copies()
    target = home() / f"{STEM}{datetime.now(UTC):%Y%m%dT%H%M%S%f}.sqlite3"
    try:
        _copy(target)
    except (sqlite3.Error, OSError) as error:
        target.unlink(missing_ok=True)
        raise UserError("upgrade", str(error), "room beside the database for a copy of it",
                        "Free some room; nothing was changed.") from error  # fmt: skip
    for path in former:
        path.unlink()
    return target


def discard_copies() -> None:
    """Remove every copy."""
    for path in copies():
        path.unlink()


def _copy(target: Path) -> None:
    # Readable by nobody else at any moment.
    os.close(os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    connection.ensure_connection()
    with sqlite3.connect(target) as opened:
        connection.connection.backup(opened)
    opened.close()
