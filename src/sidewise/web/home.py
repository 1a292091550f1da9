"""Where the program keeps its data: `$SIDEWISE_HOME`, else the platform's user folder."""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path

from sidewise.ground.home import home_folder

KEEPING_KEY_FILE = "keeping-key"


def home() -> Path:
    """The data folder, made on first use and readable by its owner only."""
    path = home_folder()
    path.mkdir(parents=True, exist_ok=True, mode=0o700)
    return path


def secret_key() -> str:
    """The signing key: from the environment, else made once and kept in the data folder."""
    return os.environ.get("SIDEWISE_SECRET_KEY") or _kept("secret-key")


def keeping_key() -> str:
    """The key of records and backups: from the environment, else made once in the data folder.

    It is never in the database: whoever can only write there cannot seal what they wrote.
    """
    return os.environ.get("SIDEWISE_KEEPING_KEY") or _kept(KEEPING_KEY_FILE)


def _kept(name: str) -> str:
    path = home() / name
    if not path.exists():
        _make(path)
    return path.read_text().strip()


def _make(path: Path) -> None:
    # Whole before it has its name, so that two first starts at once agree on one key; readable by
    # nobody else at any moment.
    part = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w") as file:
        file.write(secrets.token_urlsafe(64))
        file.flush()
        os.fsync(file.fileno())
    with suppress(FileExistsError):
        os.link(part, path)
    part.unlink()
