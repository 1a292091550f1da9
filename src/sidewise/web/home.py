"""Where the program keeps its data: `$SIDEWISE_HOME`, else the platform's user folder."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

import platformdirs


def home() -> Path:
    """The data folder, made on first use and readable by its owner only."""
    named = os.environ.get("SIDEWISE_HOME")
    path = Path(named) if named else Path(platformdirs.user_data_dir("sidewise"))
    path.mkdir(parents=True, exist_ok=True, mode=0o700)
    return path


def secret_key() -> str:
    """The signing key: from the environment, else made once and kept in the data folder."""
    if key := os.environ.get("SIDEWISE_SECRET_KEY"):
        return key
    path = home() / "secret-key"
    if not path.exists():
        # Created exclusively with its final mode, so that it is never readable by others.
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w") as file:
            file.write(secrets.token_urlsafe(64))
    return path.read_text().strip()
