"""Writing a file in one go: the old one stays until the new one is whole."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from sidewise.errors import UserError


def write_text(path: Path, text: str) -> None:
    """Write `text` beside `path` and move it there; `UserError` if it cannot be written."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent or Path("."), prefix=f".{path.name}")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError as error:
        raise UserError(
            str(path), error.strerror or "no such place", "a place that can be written", ""
        ) from error
